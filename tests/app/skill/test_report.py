"""Marks of forecasts, worked out by hand on few numbers."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from propstick.app.place_series import Series
from propstick.app.replay.report import Observed
from propstick.app.skill import skill_of
from propstick.garden import Box, Garden
from propstick.records import Alarm, DayForecast, HeatForecast, LidOpening, NightForecast

HOUR = 3600
START = 1_775_952_000  # 2026-04-12T00:00Z; without a site nights run from 18:00 to 08:00 UTC
GARDEN = Garden(boxes=(Box(name="north"),))


def marks(**given):
    nothing = dict.fromkeys(
        ("nights", "days", "heat", "alarms", "lids", "observed_nights", "observed_days"), ()
    )
    air = given.pop("air", Series(np.array([START]), np.array([9.0])))
    return {
        (row["forecast"], row.get("plain")): row
        for row in skill_of(GARDEN, {"north": air}, **{**nothing, **given})
    }


def seen(day, value_c, *, whole=True):
    return Observed(box="north", date=date(2026, 4, day), value_c=value_c, at_s=START, whole=whole)


def night(day, hour, expected, low, high):
    return NightForecast(
        box="north", night=date(2026, 4, day), issued_s=START + (24 * (day - 12) + hour) * HOUR,
        min_c=expected, low_c=low, high_c=high, p_frost=0.0,
    )  # fmt: skip


def test_night_forecasts_are_judged_by_what_came_after_them():
    """The lowest from the issue on, not the night's; and beside last night's figure."""
    hours = START + HOUR * np.arange(0, 80)
    value = np.where(hours == START + 19 * HOUR, 1.0, 4.0)  # 1 °C at 19:00 on the 12th, else 4
    found = marks(
        air=Series(hours, value),
        nights=[night(12, 21, 3.0, 2.5, 5.0), night(13, 21, 3.5, 3.4, 3.6)],
        observed_nights=[seen(12, 1.0), seen(13, 4.0)],
    )
    row = found["night minimum, 2 h after sunset", "last night's minimum"]
    assert (row["count"], row["compared"], row["inside_90"]) == (2, 1, 0.5)
    assert row["error_c"] == 0.5  # of the night that both have: |3.5 - 4|
    assert row["plain_error_c"] == 3.0  # |1 - 4|
    assert row["is_better"] is None  # one night shows nothing
    assert row["verdict"] == "too few nights to say (1)"
    assert (row["bias_c"], row["width_c"]) == (-0.75, 1.35)  # means of (−1, −0.5), (2.5, 0.2)


def test_a_night_seen_in_part_is_not_judged():
    """Its lowest minute may have come later."""
    assert not marks(nights=[night(12, 21, 3, 2, 4)], observed_nights=[seen(12, 1.0, whole=False)])


def test_day_maximum_is_judged_by_the_lid_as_it_stood():
    """What a shut lid would have given cannot be compared."""

    def day(number, lid, max_c):
        return DayForecast(
            box="north", day=date(2026, 4, number), issued_s=START, lid=lid, max_c=max_c, low_c=20, high_c=26
        )

    found = marks(
        days=[day(13, "as-is", 24.0), day(13, "closed", 40.0)], observed_days=[seen(12, 21.0), seen(13, 25.5)]
    )
    row = found["day maximum, before sunrise", "the day before's maximum"]
    assert (row["count"], row["error_c"], row["plain_error_c"], row["inside_90"]) == (1, 1.5, 4.5, 1.0)


def test_heat_chances_are_scored_by_whether_the_limit_was_passed():
    """Brier (1950): certain and right 0, certain and wrong 1; nothing is asked while it is over."""
    minutes = START + 60 * np.arange(0, 200)
    value = np.where(minutes >= START + 45 * 60, 28.0, 20.0)

    def chance(minute, p20, p30, p60):
        return HeatForecast(
            box="north", issued_s=START + 60 * minute, limit_c=27.0, p20=p20, p30=p30, p60=p60
        )

    found = marks(
        air=Series(minutes, value), heat=[chance(0, 0, 0, 1), chance(20, 0, 1, 1), chance(60, 1, 1, 1)]
    )
    scores = [found[f"heat within {m} min", "straight line"] for m in (20, 30, 60)]
    assert [row["count"] for row in scores] == [2, 2, 2]
    assert [row["came"] for row in scores] == [0, 1, 2]
    assert [row["brier"] for row in scores] == [0.0, 0.0, 0.0]
    assert all(row["is_better"] is None for row in scores)
    assert scores[2]["plain_brier"] > 0.1


def test_warnings_of_heat_are_counted():
    """Came, withdrawn, and alarms that no warning went before."""

    def alarm(kind, outcome=None, lead=None):
        return Alarm(id=kind, box="north", kind=kind, state="normal", raised_s=0, begun_s=0, outcome=outcome,
                     lead_minutes=lead)  # fmt: skip

    row = marks(
        alarms=[alarm("heat-ahead", "came"), alarm("heat-ahead", "withdrawn"), alarm("heat", lead=24.0),
                alarm("heat", lead=-2.0), alarm("heat")]
    )["heat warnings", None]  # fmt: skip
    assert (row["warned"], row["came"], row["withdrawn"], row["unwarned"]) == (2, 1, 1, 2)
    assert row["lead_minutes_median"] == 24.0


def test_days_read_only_to_learn_from_count_no_week():
    """Three weeks measured, the last of them asked about: two false warnings are two a box-week."""
    weeks = START + HOUR * np.arange(0, 21 * 24 + 1)
    alarms = [
        Alarm(id=str(k), box="north", kind="heat-ahead", state="normal", raised_s=int(weeks[-1]),
              begun_s=int(weeks[-1]), outcome="withdrawn")
        for k in range(2)
    ]  # fmt: skip
    air = Series(weeks, np.full(len(weeks), 20.0))
    rates = [
        marks(air=air, alarms=alarms, since_s=since_s)["heat warnings", None]["false_per_box_week"]
        for since_s in (None, int(weeks[14 * 24]))
    ]
    assert rates == [0.67, 2.0]


def test_warnings_of_frost_after_which_none_came_are_counted():
    """Two mild nights, one told of at 0.6: a false one, though there was no frost to be hit or missed."""
    rows = START + HOUR * np.arange(0, 4 * 24)
    said = [replace(night(12 + k, 21, 3.0, -1.0, 6.0), p_frost=p) for k, p in enumerate((0.6, 0.1))]
    lows = [seen(12, 4.0), seen(13, 4.0)]
    found = marks(air=Series(rows, np.full(len(rows), 4.0)), nights=said, observed_nights=lows)
    row = found["frost at 0 °C, 2 h after sunset", "share of nights before"]
    assert (row["hits"], row["misses"], row["false"]) == (0, 0, 1)
    assert row["verdict"] == "too few nights of each sort to say (0)"


def test_a_lid_moved_after_the_issue_takes_the_day_out():
    """The forecast spoke of a lid that stayed; an estimate is no move."""
    said = DayForecast(
        box="north",
        day=date(2026, 4, 13),
        issued_s=START + 26 * HOUR,
        lid="as-is",
        max_c=24.0,
        low_c=20,
        high_c=26,
    )

    def told(hour, known_from):
        return LidOpening(box="north", time_s=START + hour * HOUR, opening=1.0, known_from=known_from)

    highs = [seen(12, 21.0), seen(13, 25.5)]
    assert marks(days=[said], observed_days=highs, lids=[told(25, "told"), told(30, "estimate")])
    assert not marks(days=[said], observed_days=highs, lids=[told(30, "told")])
    assert not marks(days=[said], observed_days=highs, lids=[told(30, "contact")])


def test_frost_is_counted_as_a_yes_or_no_beside_the_share_of_nights_before():
    """Twelve nights by hand: frost on every third; told of on those and, wrongly, on the last but one."""
    rows = START + HOUR * np.arange(0, 13 * 24)
    frosty = [k % 3 == 0 for k in range(12)]
    value = np.full(len(rows), 4.0)
    for k, is_frosty in enumerate(frosty):
        value[24 * k + 28] = -1.0 if is_frosty else 3.0
    said = [
        replace(night(12 + k, 21, 1.0, -2.0, 4.0), p_frost=0.9 if is_frosty or k == 10 else 0.1)
        for k, is_frosty in enumerate(frosty)
    ]
    lows = [seen(12 + k, -1.0 if is_frosty else 3.0) for k, is_frosty in enumerate(frosty)]
    found = marks(air=Series(rows, value), nights=said, observed_nights=lows)
    row = found["frost at 0 °C, 2 h after sunset", "share of nights before"]
    assert (row["hits"], row["misses"], row["false"], row["came"]) == (4, 0, 1, 4)
    assert row["brier"] == pytest.approx(
        (10 * 0.01 + 0.81) / 11, abs=1e-5
    )  # the first has no nights before it
    assert [one["count"] for one in row["reliability"]] == [7, 5]
    assert row["reliability"][1]["observed"] == 0.8


def test_the_frost_equation_is_judged_only_once_it_is_fitted():
    """FAO's equation is refitted on past nights: ten of them before it speaks."""
    rows = START + HOUR * np.arange(0, 14 * 24)
    value = (
        8.0
        + 3.0 * np.cos(2 * np.pi * (np.arange(len(rows)) % 24 - 14) / 24)
        + 0.01 * np.arange(len(rows)) % 2
    )
    lows = [seen(12 + k, float(value[24 * k + 26])) for k in range(13)]
    found = marks(
        air=Series(rows, value),
        nights=[night(12 + k, 21, 5.0, 2.0, 8.0) for k in range(13)],
        observed_nights=lows,
    )
    row = found["night minimum, 2 h after sunset", "FAO frost equation"]
    assert (row["count"], row["compared"]) == (13, 3)


def test_no_better_than_the_plain_method_is_said_outright():
    """Ten nights all alike: last night's minimum is right to the digit, ours half a degree off."""
    rows = START + HOUR * np.arange(0, 13 * 24)
    air = Series(rows, np.full(len(rows), 4.0))
    said = [night(12 + k, 21, 4.5, 3.0, 6.0) for k in range(12)]
    row = marks(air=air, nights=said, observed_nights=[seen(12 + k, 4.0) for k in range(12)])[
        "night minimum, 2 h after sunset", "last night's minimum"
    ]
    assert row["is_better"] is False
    assert row["verdict"] == "no better than last night's minimum"


@pytest.mark.parametrize("kind", ["night", "heat"])
def test_no_forecast_no_marks(kind):
    """An empty list, not zeros."""
    assert not [name for name, _ in marks() if kind in name]
