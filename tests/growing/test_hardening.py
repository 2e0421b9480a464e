"""A week that opens a little more each day, and yields to a cold night. Common practice, no source."""

from datetime import date

import pytest

from propstick.growing.hardening import hardening_plan

START = date(2026, 4, 20)


def test_a_week_ends_with_the_lid_off_day_and_night():
    plan = hardening_plan(START, frost_limit_c=1.0, tonight_low_c=8.0)
    assert len(plan) == 7
    assert plan[0].at_night == 0.0
    assert (plan[-1].by_day, plan[-1].at_night) == (1.0, 1.0)
    assert [one.by_day for one in plan] == sorted(one.by_day for one in plan)
    assert plan[-1].day == date(2026, 4, 26)


@pytest.mark.parametrize(("low", "at_night"), [(8.0, 0.3), (2.1, 0.3), (1.9, 0.0), (-3.0, 0.0), (None, 0.0)])
def test_tonight_yields_to_the_forecast_and_to_its_absence(low, at_night):
    plan = hardening_plan(START, frost_limit_c=1.0, days_done=5, tonight_low_c=low)
    assert plan[0].at_night == at_night
    assert plan[1].at_night == 1.0


def test_a_cold_day_stays_shut_and_says_why():
    (today, *_) = hardening_plan(START, frost_limit_c=1.0, today_high_c=3.0, tonight_low_c=5.0, unit="F")
    assert today.by_day == 0.0
    assert "40 °F" in today.words


def test_a_week_that_is_over_has_nothing_left():
    assert hardening_plan(START, frost_limit_c=1.0, days_done=7) == ()
