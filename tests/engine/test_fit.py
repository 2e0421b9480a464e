"""Learning of rates: one Gauss–Newton step against scipy's least squares, and the test of the residuals."""

from dataclasses import replace

import numpy as np
import pytest

from propstick.engine.fit import (
    N_RATES,
    NUDGE_LOG,
    PRIOR_RATES,
    gather,
    learn,
    prior_theta,
    rates_of,
    start_fit,
)
from propstick.garden import Box

BOXES = (Box(name="north"), Box(name="lane"))
RNG = np.random.default_rng(3)


def errors_of(jacobian, error):
    """What the seven runs would have been off, from a linear model, shape (k, 7, b)."""
    return np.concatenate([error[:, None], error[:, None] + NUDGE_LOG * jacobian], axis=1)


def test_a_linear_model_is_solved_as_scipy_would():
    """Small errors, so that no weight is cut: the move is the ridge solution of scipy.optimize.lsq_linear."""
    optimize = pytest.importorskip("scipy.optimize")
    blocks = 200
    jacobian = RNG.normal(0.0, 1.0, (blocks, N_RATES, 2))
    truth = np.array([0.05, -0.04, 0.03, -0.02, 0.01, 0.02])
    error = -np.einsum("kfb,f->kb", jacobian, truth) * 0.5
    error = np.clip(error, -0.19, 0.19)
    begun = start_fit(BOXES)
    state = learn(gather(begun, errors_of(jacobian, error), np.ones((blocks, 2))))
    weight = np.sqrt(0.625) / 0.08
    prior_root = np.linalg.cholesky(begun.information[0]).T
    for box in range(2):
        rows = np.vstack([weight * jacobian[:, :, box], prior_root])
        right = np.concatenate([-weight * error[:, box], np.zeros(N_RATES)])
        expected = optimize.lsq_linear(rows, right).x
        np.testing.assert_allclose(state.theta[:, box] - begun.theta[:, box], expected, atol=1e-6)


def test_evidence_adds_up_however_it_is_cut():
    """All blocks at once or some at a time: the same bits."""
    jacobian, error = RNG.normal(0.0, 1.0, (50, N_RATES, 2)), RNG.normal(0.0, 0.1, (50, 2))
    errors, weight = errors_of(jacobian, error), RNG.random((50, 2))
    whole = gather(start_fit(BOXES), errors, weight)
    parts = start_fit(BOXES)
    for cut in (slice(0, 1), slice(1, 17), slice(17, 50)):
        parts = gather(parts, errors[cut], weight[cut])
    for name in ("normal", "slope", "squares", "blocks"):
        np.testing.assert_array_equal(getattr(whole, name), getattr(parts, name))


def test_a_day_far_worse_than_usual_no_longer_fits():
    """Ten days at 0.1 °C, then one at 0.5: said so, and what was known weakens; a good day mends it."""
    state = start_fit(BOXES)
    zero = np.zeros((100, N_RATES, 2))
    for _ in range(10):
        state = learn(gather(state, errors_of(zero, np.full((100, 2), 0.1)), np.ones((100, 2))))
    assert state.fits.all()
    error = np.full((100, 2), 0.1)
    error[:, 1] = 0.5
    bad = learn(gather(state, errors_of(zero, error), np.ones((100, 2))))
    assert bad.fits.tolist() == [True, False]
    assert np.trace(bad.information[1]) < np.trace(bad.information[0])
    good = learn(gather(bad, errors_of(zero, np.full((100, 2), 0.1)), np.ones((100, 2))))
    assert good.fits.all()


def test_a_silent_day_judges_nothing():
    """Without enough blocks the verdict and the record stay."""
    state = learn(replace(start_fit(BOXES), fits=np.array([True, False])))
    assert state.fits.tolist() == [True, False]
    assert np.isnan(state.record_c).all()


def test_the_prior_knows_size_and_glazing():
    """A standard box has the published medians; twin-wall loses less; a larger box loses more slowly."""
    theta = prior_theta((Box(name="a"), Box(name="b", glazing="twin-wall"), Box(name="c", floor_m2=2.0)))
    np.testing.assert_allclose(np.exp(theta[:, 0]), PRIOR_RATES)
    assert theta[0, 1] < theta[0, 0]
    assert theta[0, 2] < theta[0, 0]
    assert rates_of(theta).loss.shape == (3,)


def lived(days, last):
    """Boxes that were off so much for so many days, then as `last` says on one more day."""
    boxes = tuple(Box(name=f"b{k}") for k in range(len(last)))
    state, zero = start_fit(boxes), np.zeros((100, N_RATES, len(last)))
    for error in [*days, last]:
        errors = np.broadcast_to(np.asarray(error, dtype=float), (100, len(last)))
        state = learn(gather(state, errors_of(zero, errors), np.ones((100, len(last)))))
    return state.fits.tolist()


def test_a_day_that_is_hard_for_every_box_is_the_weathers():
    """2.4 times the usual in all four boxes: no change of theirs; in one alone, or 4 times in all, it is."""
    assert lived([0.1] * 12, [0.24] * 4) == [True] * 4
    assert lived([0.1] * 12, [0.24, 0.1, 0.1, 0.1]) == [False, True, True, True]
    assert lived([0.1] * 12, [0.4] * 4) == [False] * 4


def test_the_first_sun_after_a_dull_spell_is_no_change():
    """Twelve days at 0.02 °C, then 0.09 °C: still no more than boxes usually are; 0.12 °C is."""
    assert lived([0.02] * 12, [0.09]) == [True]
    assert lived([0.02] * 12, [0.12]) == [False]


def test_a_box_that_was_never_like_others_has_not_changed():
    """Off by 0.45 °C from its first day on (one measured hourly is): never said; doubled later, it is."""
    assert lived([], [0.45]) == [True]
    assert lived([0.45, 0.5], [0.55]) == [True]
    assert lived([0.45] * 8, [1.0]) == [False]
