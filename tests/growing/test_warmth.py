"""Degree days against worked examples and the reference integral."""

from datetime import date, timedelta

import numpy as np
import pytest

from propstick.growing.warmth import degree_days, degree_hours_above, hours_above
from propstick.units import c_from_f


def test_the_college_exercise_of_the_pea():
    """1200 °F d above 55 °F, days of 80 and 60 °F, sown on 1 May: 15 a day, 80 days, 20 July."""
    day = c_from_f(np.repeat([80.0, 60.0], 12))
    a_day = float(degree_days(day, base_c=c_from_f(55.0), best_c=40.0).sum())
    assert a_day * 1.8 == pytest.approx(15.0)
    days = 1200.0 / 1.8 / a_day
    assert days == pytest.approx(80.0)
    assert date(2026, 5, 1) + timedelta(days=round(days)) == date(2026, 7, 20)


def test_warmth_beyond_the_upper_threshold_adds_no_more():
    """50 and 86 °F, the thresholds of sweet corn (Oregon State Univ. Extension EM 9305): 36 °F d at most."""
    hot = degree_days(np.full(24, c_from_f(95.0)), base_c=10.0, best_c=30.0).sum()
    assert float(hot) * 1.8 == pytest.approx(36.0)


def test_the_area_under_a_sine_against_quadrature():
    """By the hour against scipy's integral of a day that dips below the base and rises above the best."""
    integrate = pytest.importorskip("scipy.integrate")

    def warm(hour):
        return 12.0 + 12.0 * np.sin(2 * np.pi * (hour - 9.0) / 24.0)

    exact, _ = integrate.quad(lambda h: min(max(warm(h) - 4.4, 0.0), 16.6) / 24.0, 0.0, 24.0, limit=200)
    assert float(degree_days(warm(np.arange(24) + 0.5)).sum()) == pytest.approx(exact, rel=0.005)


def test_cold_days_take_nothing_away_and_silence_stays():
    assert degree_days(np.array([4.4, 2.0, -5.0])).tolist() == [0.0, 0.0, 0.0]
    assert np.isnan(degree_days(np.array([np.nan]))[0])


def test_hours_and_degree_hours_above_a_limit():
    air = np.array([26.0, 28.0, 31.0, np.nan])
    assert hours_above(air, 27.0) == 2
    assert degree_hours_above(air, 27.0) == pytest.approx(5.0)
