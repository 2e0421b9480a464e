"""Day length against astral; triggers only where the crop has them."""

from datetime import UTC, date, datetime

import numpy as np
import pytest

from propstick.growing.flowering import day_hours, flowering
from propstick.growing.harvest import need_of
from propstick.growing.path import Path
from propstick.times import DAY_S

START_S = 1_772_323_200  # 2026-03-01


def path(hours, value_c, days=150):
    time_s = hours(days)
    value = np.broadcast_to(np.asarray(value_c, dtype=float), time_s.shape)
    return Path(time_s=time_s, value_c=value, spread_c=np.ones(len(time_s)), measured=0)


@pytest.mark.parametrize(
    ("latitude", "longitude"), [(51.5, -0.12), (45.46, 9.19), (-35.0, 149.0), (60.0, 25.0)]
)
def test_day_length_agrees_with_astral(latitude, longitude):
    """astral 3.2, sunrise to sunset, within a minute; longitude so that the UTC day is the sun's."""
    sun = pytest.importorskip("astral.sun")
    from astral import Observer

    for month in (2, 4, 6, 9, 12):
        day = date(2026, month, 15)
        noon_s = int(datetime(2026, month, 15, 12, tzinfo=UTC).timestamp())
        zone_h = round(longitude / 15)
        found = sun.sun(Observer(latitude, longitude), date=day)
        exact = (found["sunset"] - found["sunrise"]).total_seconds() % DAY_S / 3600
        ours = float(day_hours(np.array([noon_s - zone_h * 3600]), latitude, longitude)[0])
        assert ours == pytest.approx(exact, abs=0.05)


def test_spinach_runs_up_on_the_day_that_grows_long_enough(crops, hours):
    """14 hours at 51.5° N are reached on about 18 April (astral: 13.99 h on the 17th, 14.05 on the 18th)."""
    found = flowering(
        crops["spinach"], up_s=START_S, pick_s=None, path=path(hours, 12.0), position=(51.5, -0.12)
    )
    assert found.reason == "days of 14 hours and more"
    trigger = datetime.fromtimestamp(found.window.low_s - 7 * DAY_S, UTC).date()
    assert abs((trigger - date(2026, 4, 18)).days) <= 1


@pytest.mark.parametrize(
    ("crop", "place", "sown", "warm_c", "soonest", "latest"),
    [
        # González, del Pozo, Cotroneo and Pertierra 2004, Agricultura Técnica 64: 331-337, abstract: four
        # varieties of spinach at Chillán, half in flower 43 to 60 days after sowing in the quickest months.
        ("spinach", (-36.53, -71.92), datetime(2025, 11, 15, 12, tzinfo=UTC), 18.0, 43, 60),
        # Yoshida and others 2020, Tropical Agriculture and Development 64: 107-112, abstract: 22 mustards
        # in a field at Tokyo ran up 38 to 71 days after sowing; no day of sowing is given there.
        ("mustard", (35.69, 139.69), datetime(2026, 4, 15, 12, tzinfo=UTC), 16.0, 38, 71),
    ],
)
def test_in_long_warm_days_crops_flower_when_published(crops, crop, place, sown, warm_c, soonest, latest):
    """The middle lies in the published span, and the interval does not leave it by more than a week."""
    sown_s = int(sown.timestamp())
    table = crops[crop].emergence
    up_s = sown_s + DAY_S / float(np.interp(warm_c, table.soil_c, 1.0 / np.array(table.days)))
    need = need_of(crops[crop], [])
    pick_s = up_s + need.warmth_c_d / (warm_c - 4.4) * DAY_S
    time_s = sown_s - sown_s % DAY_S + 3600 * np.arange(150 * 24)
    air = Path(time_s=time_s, value_c=np.full(len(time_s), warm_c), spread_c=np.ones(len(time_s)), measured=0)
    found = flowering(crops[crop], up_s=up_s, pick_s=pick_s, path=air, position=place)
    low, middle, high = (
        (at_s - sown_s) / DAY_S for at_s in (found.window.low_s, found.window.expected_s, found.window.high_s)
    )
    print(f"{crop}: {middle:.0f} days from sowing ({low:.0f} to {high:.0f}), published {soonest} to {latest}")
    assert soonest <= middle <= latest
    assert soonest - 7 <= low
    assert high <= latest + 7


def test_the_mustard_s_day_is_shorter_than_the_spinach_s(crops):
    """12 hours: seven of the mustards of Yoshida and others 2020. 14: two garden pages (2013 and later)."""
    assert crops["mustard"].bolting.day_h == 12.0
    assert crops["spinach"].bolting.day_h == 14.0
    assert crops["rocket"].bolting.day_h == 14.0


def test_a_seedling_does_not_run_up_however_long_the_day(crops, hours):
    late = START_S + 100 * DAY_S
    found = flowering(
        crops["spinach"], up_s=late, pick_s=late + 40 * DAY_S, path=path(hours, 12.0), position=(51.5, 0.0)
    )
    assert found.window.low_s >= late + 27 * DAY_S


def test_lettuce_runs_up_after_a_warm_week_and_not_without(crops, hours):
    cool = path(hours, 15.0)
    assert flowering(crops["lettuce"], up_s=START_S, pick_s=None, path=cool, position=(51.5, 0.0)) is None
    warm = np.where(np.arange(150 * 24) >= 60 * 24, 23.0, 15.0)
    found = flowering(crops["lettuce"], up_s=START_S, pick_s=None, path=path(hours, warm), position=None)
    assert "warmer than 21 °C" in found.reason
    told = flowering(
        crops["lettuce"], up_s=START_S, pick_s=None, path=path(hours, warm), position=None, unit="F"
    )
    assert "warmer than 70 °F" in told.reason
    assert (found.window.low_s - START_S) / DAY_S == pytest.approx(60 + 6 + 7, abs=1.5)


def test_without_a_position_day_length_says_nothing(crops, hours):
    assert (
        flowering(crops["rocket"], up_s=START_S, pick_s=None, path=path(hours, 12.0), position=None) is None
    )


def test_a_crop_that_needs_cold_first_gets_no_date(crops, hours):
    assert flowering(
        crops["cabbage"], up_s=START_S, pick_s=None, path=path(hours, 12.0), position=(51.5, 0.0)
    ) is None  # fmt: skip
