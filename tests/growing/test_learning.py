"""A garden's own dates move the published figure as Bayes has it."""

import math

import numpy as np
import pytest

from propstick.growing.learning import BATCH_LOG_SD, PRIOR_LOG_SD, learnt


def test_nothing_seen_leaves_the_published_figure():
    factor = learnt([])
    assert factor.middle == 1.0
    assert factor.words() == ""


def test_the_update_is_the_product_of_prior_and_likelihoods():
    """Against the posterior integrated on a grid, which knows nothing of conjugate formulas."""
    seen = (1.3, 1.1, 1.25)
    theta = np.linspace(-2.0, 2.0, 400_001)
    density = np.exp(-(theta**2) / (2 * PRIOR_LOG_SD**2))
    for quotient in seen:
        density *= np.exp(-((math.log(quotient) - theta) ** 2) / (2 * BATCH_LOG_SD**2))
    density /= density.sum()
    mean = float((theta * density).sum())
    sd = math.sqrt(float(((theta - mean) ** 2 * density).sum()))
    factor = learnt(seen)
    assert factor.log_mean == pytest.approx(mean, abs=1e-6)
    assert factor.log_sd == pytest.approx(sd, abs=1e-6)


def test_more_batches_narrow_the_interval_down_to_the_scatter_of_batches():
    widths = [learnt([1.2] * n).next_log_sd for n in (0, 1, 3, 30)]
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] == pytest.approx(BATCH_LOG_SD, abs=0.01)


def test_the_update_is_shown():
    assert learnt([1.2, 1.3]).words().startswith("your garden: x 1.1")
    assert learnt([1.2]).to_json()["observed"] == [1.2]


def test_what_is_no_quotient_is_left_out():
    assert learnt([0.0, -1.0, math.nan, math.inf]).seen == ()
