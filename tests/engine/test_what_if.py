"""What-if: the difference of two runs, added to what was measured."""

import numpy as np
import pytest

from propstick.engine.observer import observe, start
from propstick.engine.what_if import what_if


@pytest.fixture(scope="module")
def open_night(garden_rows, kent, two_boxes):
    """A day and a night with the lid at 0.3 from 16:00 on, and the same with it shut."""
    lid = np.zeros(1800)
    lid[960:] = 0.3
    as_was, shut = garden_rows(1.25, lid=lid, seed=4), garden_rows(1.25, seed=4)
    _, trace = observe(start(two_boxes), as_was, kent)
    return trace, as_was, shut


def test_closing_gives_what_the_closed_box_would_have_had(open_night):
    """Against the same box really shut: nearer than half of the change, and inside the interval."""
    trace, as_was, shut = open_night
    at_s = int(trace.time_s[960])
    answer = what_if(trace, 0, at_s=at_s, opening=0.0)
    true_min = shut.air_c[960:, 0].min()
    was_min = as_was.air_c[960:, 0].min()
    assert true_min > was_min
    assert abs(answer.min_c - true_min) < 0.5 * abs(was_min - true_min)
    assert answer.low_c <= true_min <= answer.high_c
    assert answer.observed_min_c == was_min
    assert len(answer.air_c) == len(answer.time_s) == 840


def test_no_change_is_what_was_measured(open_night):
    """Asked for the lid as it was, the curve is the readings and nobody is in doubt."""
    trace, as_was, _ = open_night
    answer = what_if(trace, 0, at_s=int(trace.time_s[960]), opening=0.3)
    np.testing.assert_array_equal(answer.air_c, as_was.air_c[960:, 0])
    assert answer.low_c == answer.high_c == answer.min_c


def test_a_cover_keeps_a_closed_box_warmer(garden_rows, kent, two_boxes):
    """A blanket from nightfall on lifts the minimum."""
    _, trace = observe(start(two_boxes), garden_rows(1.2), kent)
    answer = what_if(trace, 1, at_s=int(trace.time_s[1140]), cover=1.0)
    assert answer.min_c > answer.observed_min_c


def test_nothing_to_go_on_gives_none(open_night):
    """After the last row, or without any reading, there is no answer."""
    trace, _, _ = open_night
    assert what_if(trace, 0, at_s=int(trace.time_s[-1]) + 60, opening=0.0) is None
