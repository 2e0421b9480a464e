"""A week that opens a little more each day, and yields to a cold night. Common practice, no source."""

from datetime import date

import pytest

from propstick.growing.hardening import DAY_OPENINGS, NIGHT_OPENINGS, days_lived, evening_of, hardening_plan

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


def evening(**changes):
    given = {"days_done": 3, "today": 1.0, "frost_limit_c": 1.0, "tonight_low_c": 6.0}
    return evening_of(**given | changes)


def test_an_evening_goes_on_with_the_plan_where_day_and_night_allow():
    found = evening()
    assert (found.number, found.tonight, found.tomorrow) == (5, NIGHT_OPENINGS[3], DAY_OPENINGS[4])
    assert found.words() == "propped tonight too; tomorrow wide open by day"


def test_a_night_that_may_come_near_the_crop_s_limit_stays_shut_and_its_day_is_done_again():
    """Limit 1 °C and 1 °C to spare: 1.9 is too cold, 2.0 is not."""
    cold = evening(tonight_low_c=1.9)
    assert (cold.number, cold.tonight, cold.tomorrow) == (4, 0.0, 1.0)
    assert cold.words() == ("shut tonight, it may fall to 2 °C; tomorrow wide open once above 4 °C outside")
    assert cold.words(brief=True) == "shut tonight; tomorrow wide open by day"
    assert evening(tonight_low_c=2.0).tonight == 0.1
    assert evening(tonight_low_c=1.9, frost_limit_c=-3.0).tonight == 0.1
    assert "no forecast" in evening(tonight_low_c=None).words()
    assert evening(must_shut=True).tonight == 0.0


def test_a_day_that_fell_short_is_done_again_with_a_shut_night():
    for today in (None, 0.5):
        assert (evening(today=today).number, evening(today=today).tonight) == (4, 0.0)
    first = evening(days_done=0, today=None)
    assert first.words() == "shut tonight; tomorrow propped by day"


def test_after_the_last_night_its_cover_can_go():
    assert evening(days_done=6).words() == "wide open tonight too; after that its cover can go"
    assert evening(days_done=6, tonight_low_c=0.0).tomorrow == 1.0
    assert evening(days_done=7) is None
