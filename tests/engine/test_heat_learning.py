"""Learning from invented limits: right answers move the formula the right way, and only those."""

from dataclasses import replace

import numpy as np
import pytest

from propstick.engine.heat_learning import ask, chances, learn_formula, listen, start_learning
from propstick.engine.observer import observe, start

ASKED_ROWS = np.arange(300, 640, 10)


@pytest.fixture(scope="module")
def trace(garden_rows, kent, two_boxes):
    """Half a day with nobody at the lid."""
    _, made = observe(start(two_boxes), garden_rows(0.6), kent)
    return made


def taught(trace, above_c, *, line=0.5):
    """A formula taught with limits that far above (below, if negative) the air, from one feature: 1."""
    state = start_learning(2)
    features = np.zeros((len(ASKED_ROWS), 2, state.beta.shape[1]))
    features[..., 0] = 1.0
    limit = trace.air5_c[ASKED_ROWS] + above_c
    state = ask(
        state, trace.time_s[ASKED_ROWS], features=features, plain=np.full((len(ASKED_ROWS), 3, 2), line),
        limit_c=limit, true_limit_c=limit,
    )  # fmt: skip
    state = listen(state, trace, step_s=60)
    return state, learn_formula(state), features[:1]


def test_limits_passed_raise_the_chance_and_missed_ones_lower_it(trace):
    """A degree below the air is always passed, forty above never."""
    before, after, one = taught(trace, -1.0)
    assert (chances(after, one) > chances(before, one)).all()
    before, after, one = taught(trace, 40.0)
    assert (chances(after, one) < chances(before, one)).all()


def test_answers_take_an_hour(trace):
    """Questions younger than 65 min stay open."""
    state, _, _ = taught(trace, 1.0)
    open_s = state.samples.asked_s
    assert (trace.time_s[-1] - open_s < 65 * 60).all()
    assert len(open_s) < len(ASKED_ROWS)


def test_a_lid_that_moves_spoils_the_answer(trace):
    """With the lid moved every ten minutes nothing is learnt from what did not come."""
    restless = replace(trace, moved_min=np.repeat(np.arange(len(trace)) % 10.0, 2).reshape(-1, 2))
    state, _, _ = taught(restless, 40.0)
    assert (state.slope == 0.0).all()
    assert (state.normal == 0.0).all()


def test_the_line_decides_where_its_record_is_no_worse(trace):
    """Forty degrees above is never passed: who always said 0 has no error, the untaught formula some."""
    right, _, _ = taught(trace, 40.0, line=0.0)
    wrong, _, _ = taught(trace, 40.0, line=1.0)
    assert (right.record[1] == 0.0).all()
    np.testing.assert_allclose(wrong.record[1], wrong.answers)
    np.testing.assert_array_equal(right.record[0], wrong.record[0])
    assert not right.plain_decides.any()  # half a day is too little to tell
    seasoned = {"answers": np.full(3, 500.0)}
    assert replace(right, **seasoned).plain_decides.all()
    assert not replace(wrong, **seasoned).plain_decides.any()
