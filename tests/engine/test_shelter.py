"""What closing and covering would give."""

import numpy as np
import pytest

from propstick.engine import shelter


def _after(nights, *, box_min_c, lid=0.0, cover=0.0, state=None):
    state = state or shelter.no_nights(1)
    for _ in range(nights):
        state = shelter.learn(
            state,
            box_min_c=np.array([box_min_c]),
            outside_min_c=0.0,
            lid=np.array([lid]),
            cover=np.array([cover]),
        )
    return state


def test_shut_nights_teach_the_lift():
    state = _after(40, box_min_c=3.0)
    assert state.lift_c[0] == pytest.approx(3.0, abs=0.3)
    assert _after(40, box_min_c=3.0, lid=0.3).lift_c[0] == shelter.PRIOR_LIFT_C
    assert _after(40, box_min_c=np.nan).lift_c[0] == shelter.PRIOR_LIFT_C


def test_covered_nights_teach_what_the_cover_is_worth_not_the_lift():
    bare = _after(40, box_min_c=2.0)
    state = _after(60, box_min_c=5.0, cover=1.0, state=bare)
    assert state.lift_c[0] == bare.lift_c[0]
    assert state.cover_ratio[0] == pytest.approx(5.0 / bare.lift_c[0], rel=0.1)


def test_gains_are_of_the_lift_that_is_missing():
    """Wide open keeps a ninth; shut and bare has all but the cover to gain; shut and covered nothing."""
    state = _after(400, box_min_c=2.0)
    stand = shelter.gains(
        shelter.ShelterState(*(np.repeat(v, 3) for v in vars(state).values())),
        lid=np.array([1.0, 0.0, np.nan]),
        cover=np.array([np.nan, 0.0, 1.0]),
    )
    lift = float(state.lift_c[0])
    assert stand.closing_c == pytest.approx([0.89 * lift, 0.0, 0.0])
    assert stand.covering_c == pytest.approx([lift * (1.67 - 0.11), lift * 0.67, 0.0])
