"""A week that opens a little more each day, and yields to a cold night. Common practice, no source."""

from datetime import date

import pytest

from propstick.growing.hardening import (
    DAY_OPENINGS,
    NIGHT_OPENINGS,
    days_lived,
    hardening_plan,
    hardening_words,
)

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


def test_the_recorded_lid_says_how_far_the_week_is():
    """Lived as planned it is over; a shut day, a shut night and an unknown one wait, and lose nothing."""
    week = list(zip(DAY_OPENINGS, NIGHT_OPENINGS, strict=True))
    assert [days_lived(week[:k]) for k in range(8)] == list(range(8))
    assert days_lived([*week, (1.0, 1.0)]) == 7
    assert days_lived([week[0], (0.0, 0.0), (None, None), week[1]]) == 2
    assert days_lived([*week[:3], (1.0, 0.0)]) == 3
    assert days_lived([*week[:3], (1.0, None), (1.0, 0.1)]) == 4
    assert days_lived([(0.09, 0.0)]) == 1  # as good as a tenth
    assert days_lived([]) == 0


def test_an_evening_says_tonight_and_tomorrow_in_one_sentence():
    cold = hardening_plan(date(2026, 4, 10), frost_limit_c=1.0, days_done=3, tonight_low_c=-1.2)
    assert hardening_words("north", cold) == (
        "Hardening off north, day 4 of 7: lid shut tonight (it may fall to -1 °C), fully open tomorrow."
    )
    mild = hardening_plan(date(2026, 4, 10), frost_limit_c=1.0, days_done=3, tonight_low_c=6.0)
    assert hardening_words("north", mild).startswith("Hardening off north, day 4 of 7: lid propped tonight,")
    last = hardening_plan(date(2026, 4, 10), frost_limit_c=1.0, days_done=6, tonight_low_c=6.0)
    assert hardening_words("north", last) == "Hardening off north, day 7 of 7: lid fully open tonight."
    assert hardening_words("north", ()) == "north is hardened off: its cover can go."
