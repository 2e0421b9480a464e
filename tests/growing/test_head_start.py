"""The head start against sums done by hand, and against the old rule."""

import numpy as np
import pytest

from propstick.growing.coming import warming_c_per_day
from propstick.growing.head_start import head_start
from propstick.times import DAY_S


def test_twice_the_warmth_is_half_the_season_ahead(hours):
    """10 °C d a day inside, 5 outside, 20 days: inside had outside's 100 after 10 days."""
    time_s = hours(20)
    found = head_start(time_s, np.full(480, 14.4), np.full(480, 9.4), latitude=50.0)
    assert (found.inside_c_d, found.outside_c_d) == pytest.approx((200.0, 100.0))
    assert found.days == pytest.approx(10.0, abs=0.05)


def test_a_box_behind_the_open_ground_is_behind(hours):
    found = head_start(hours(20), np.full(480, 9.4), np.full(480, 14.4), latitude=50.0)
    assert found.days == pytest.approx(-10.0, abs=0.05)


def test_later_ground_is_the_gap_over_the_season_s_warming(hours):
    """The open ground of 1 May, in a box on 1 April: 30 days of the year's curve."""
    time_s = hours(31)
    middle = float(time_s[-14 * 24 :].mean())
    outside = np.full(len(time_s), 8.0)
    found = head_start(time_s, outside + 30 * warming_c_per_day(middle, 50.0), outside, latitude=50.0)
    assert found.later_d == pytest.approx(30.0, rel=0.02)
    assert found.later_low_d < 30.0 < found.later_high_d
    assert "about the old rule of a month" in found.words()


def test_only_hours_in_which_both_were_measured_count(hours):
    inside, outside = np.full(480, 14.4), np.full(480, 9.4)
    inside[:240] = np.nan
    found = head_start(hours(20), inside, outside, latitude=50.0)
    assert found.hours == 240
    assert found.outside_c_d == pytest.approx(50.0)


def test_two_days_are_too_few_and_midsummer_tells_no_date(hours):
    assert head_start(hours(2), np.full(48, 10.0), np.full(48, 8.0), latitude=50.0) is None
    july = hours(20, start_s=1_772_323_200 + 130 * DAY_S)
    assert head_start(july, np.full(480, 20.0), np.full(480, 18.0), latitude=50.0).later_d is None


def test_no_warmth_outside_is_nothing_to_compare_with(hours):
    found = head_start(hours(10), np.full(240, 8.0), np.full(240, 1.0), latitude=50.0)
    assert found.days is None
    assert "nothing" in found.words() or "no warmth" in found.words()
