"""Picks that follow each other evenly need sowings that do not."""

from math import ceil

import numpy as np
import pytest

from propstick.growing.coming import SWING_C, year_curve
from propstick.growing.emergence import rate_per_day
from propstick.growing.harvest import need_of
from propstick.growing.learning import learnt
from propstick.growing.next_sowing import next_sowing
from propstick.growing.path import Path
from propstick.growing.warmth import degree_days
from propstick.times import DAY_S

START_S = 1_772_323_200


def path(time_s, value_c, *, spread_c=1.0):
    return Path(time_s=time_s, value_c=value_c, spread_c=np.full(len(time_s), spread_c), measured=0)


def chain(crops, soil, air, *, first_pick_s, number=4, every_d=14.0):
    need, factor = need_of(crops["lettuce"], []), learnt([])
    found, pick_s = [], first_pick_s
    for _ in range(number):
        found.append(
            next_sowing(
                need, crops["lettuce"].emergence, factor=factor, soil=soil, air=air, last_pick_s=pick_s,
                every_d=every_d,
            )
        )  # fmt: skip
        pick_s = found[-1].pick_s
    return found


def test_in_a_spring_that_stands_still_sowings_are_as_far_apart_as_picks(crops, hours):
    place = path(hours(200), np.full(4800, 12.0))
    found = chain(crops, place, place, first_pick_s=START_S + 100 * DAY_S)
    gaps = np.diff([one.sow.expected_s for one in found]) / DAY_S
    assert gaps == pytest.approx([14.0] * 3, abs=0.1)


def test_in_a_warming_spring_sowings_lie_further_apart_than_picks(crops, hours):
    """The steady harvest of the trade: fewer days between later sowings' picks, so more between sowings."""
    time_s = hours(200)
    place = path(time_s, 12.0 + SWING_C * year_curve(time_s, 50.0) * 0.8)
    found = chain(crops, place, place, first_pick_s=START_S + 75 * DAY_S, number=3)
    gaps = np.diff([one.sow.expected_s for one in found]) / DAY_S
    print("days between sowings for picks every 14 days:", np.round(gaps, 1))
    assert (gaps > 15.0).all()


def test_counting_forward_from_the_sowing_lands_on_the_pick(crops, hours):
    """Against the forward sum: rates to one, then warmth to the need, from the day it named."""
    time_s = hours(200)
    value = 12.0 + 6.0 * year_curve(time_s, 50.0)
    place = path(time_s, value)
    (found,) = chain(crops, place, place, first_pick_s=START_S + 90 * DAY_S, number=1)
    after = value[time_s >= found.sow.expected_s]
    up = int(np.searchsorted(np.cumsum(rate_per_day(crops["lettuce"].emergence, after)) / 24, 1.0))
    warm = np.cumsum(degree_days(after[up:]))
    picked = up + int(np.searchsorted(warm, need_of(crops["lettuce"], []).warmth_c_d))
    assert found.sow.expected_s + picked * 3600 == pytest.approx(found.pick_s, abs=3 * 3600)


def test_the_interval_holds_the_middle_and_ends_at_what_is_known(crops, hours):
    place = path(hours(200), np.full(4800, 12.0))
    (found,) = chain(crops, place, place, first_pick_s=START_S + 80 * DAY_S, number=1)
    assert found.sow.low_s < found.sow.expected_s < found.sow.high_s


def test_in_a_spring_that_stands_still_the_sowing_is_whole_hours_before_the_pick(crops, hours):
    """By hand: so many hours of (12 - 4.4) / 24 degree days to the need, so many of the rate to emergence."""
    place = path(hours(200), np.full(4800, 12.0))
    (found,) = chain(crops, place, place, first_pick_s=START_S + 80 * DAY_S, number=1)
    warm_h = ceil(need_of(crops["lettuce"], []).warmth_c_d / float(degree_days(12.0)))
    rate = float(rate_per_day(crops["lettuce"].emergence, np.array([12.0]))[0])
    assert found.pick_s == START_S + 94 * DAY_S
    assert found.sow.expected_s == found.pick_s - 3600 * (warm_h + ceil(24 / rate))


@pytest.mark.parametrize("unsure", ["soil", "air"])
def test_the_less_sure_the_spring_the_wider_the_interval(crops, hours, unsure):
    sure, doubtful = (path(hours(200), np.full(4800, 12.0), spread_c=spread) for spread in (0.2, 4.0))
    (narrow,) = chain(crops, sure, sure, first_pick_s=START_S + 80 * DAY_S, number=1)
    two = {"soil": sure, "air": sure, unsure: doubtful}
    (wide,) = chain(crops, **two, first_pick_s=START_S + 80 * DAY_S, number=1)
    assert wide.sow.expected_s == narrow.sow.expected_s
    assert wide.sow.low_s < narrow.sow.low_s - 3600
    assert wide.sow.high_s > narrow.sow.high_s + 3600


def test_a_pick_beyond_the_path_gives_no_date(crops, hours):
    place = path(hours(40), np.full(960, 12.0))
    need = need_of(crops["lettuce"], [])
    found = next_sowing(
        need, crops["lettuce"].emergence, factor=learnt([]), soil=place, air=place,
        last_pick_s=START_S + 60 * DAY_S,
    )  # fmt: skip
    assert found is None
