"""Errors on their way to what is learnt: five minutes of the clock make one lesson, however they arrive."""

from itertools import pairwise

import numpy as np
import pytest

from propstick.engine.fit import start_fit
from propstick.engine.lessons import closed, gathered, no_rows
from propstick.garden import Box

BOXES = (Box(name="north"), Box(name="lane"))


def errors(n):
    """Of seven runs of two boxes; the first run's error is 0.1 °C throughout."""
    made = 0.02 * np.random.default_rng(3).standard_normal((n, 7, 2))
    made[:, 0] = 0.1
    return made


def gather_all(cuts, *, n=23, judged=None):
    fit, block, before_s = start_fit(BOXES), no_rows(2), None
    time_s, wrong, every = 60 * np.arange(n), errors(n), np.ones((n, 2), dtype=bool)
    judged = every if judged is None else judged
    edges = [0, *cuts, n]
    for first, stop in pairwise(edges):
        here = slice(first, stop)
        fit, block = gathered(
            fit, block, time_s[here], wrong[here], before_s=before_s, step_s=60,
            learnable=every[here], judged=judged[here],
        )  # fmt: skip
        before_s = int(time_s[stop - 1])
    return fit, block


def test_only_finished_blocks_are_learnt_from():
    """Twenty-three minutes: four blocks are in, three rows wait; closing takes them too."""
    fit, block = gather_all([])
    assert fit.blocks == pytest.approx([4.0, 4.0])
    assert block.rows.tolist() == [3.0, 3.0]
    fit, block = closed(fit, block, step_s=60)
    assert fit.blocks == pytest.approx([4.6, 4.6])
    assert not block.rows.any()


@pytest.mark.parametrize("cuts", [[1], [5], [7, 8, 20], [22]])
def test_a_cut_does_not_show(cuts):
    whole, cut = gather_all([]), gather_all(cuts)
    for one, other in zip(whole, cut, strict=True):
        for name in vars(one):
            np.testing.assert_array_equal(getattr(one, name), getattr(other, name), err_msg=name)


def test_rows_that_tell_nothing_of_the_box_are_learnt_from_but_not_judged_by():
    """A lid that nobody told of, by day: the squares of errors hold the other box alone."""
    judged = np.ones((23, 2), dtype=bool)
    judged[:, 1] = False
    fit, _ = gather_all([], judged=judged)
    everything, _ = gather_all([])
    assert fit.squares == pytest.approx([4 * 0.01, 0.0])
    np.testing.assert_array_equal(fit.normal, everything.normal)
    assert fit.blocks.tolist() == [4.0, 0.0]
