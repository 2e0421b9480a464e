"""Scores against figures computed by hand or by numerical integration of the definition."""

import numpy as np
import pytest

from propstick.engine import scores


def test_brier_by_hand():
    assert scores.brier(np.array([0.8, 0.3, 0.5]), np.array([1, 0, 1])) == pytest.approx(0.12667, abs=1e-5)


def test_coverage_counts_the_ends_as_inside_and_leaves_out_unknowns():
    low, high = np.array([0.0, 0.0, 0.0, np.nan]), np.array([1.0, 1.0, 1.0, 1.0])
    assert scores.coverage(low, high, np.array([0.0, 1.0, 1.1, 0.5])) == pytest.approx(2 / 3)
    assert np.isnan(scores.coverage(low[3:], high[3:], np.array([0.5])))


def test_warnings_shares():
    counted = scores.warnings(np.array([1, 1, 0, 0, 1]), np.array([1, 0, 1, 0, 1]))
    assert (counted.hits, counted.misses, counted.false, counted.rejections) == (2, 1, 1, 1)
    assert counted.hit_share == pytest.approx(2 / 3)
    assert counted.false_share == pytest.approx(1 / 3)
    assert np.isnan(scores.warnings(np.array([0]), np.array([0])).false_share)


def test_warnings_of_finleys_tornadoes():
    """The 2803 forecasts of Finley (1884), as counted by Gilbert (1884).

    Hit rate 0.549, false alarm ratio 0.720.
    """
    hits, false, misses, silences = 28, 72, 23, 2680
    warned = np.repeat([1, 1, 0, 0], [hits, false, misses, silences])
    came = np.repeat([1, 0, 1, 0], [hits, false, misses, silences])
    counted = scores.warnings(warned, came)
    assert (counted.hits, counted.false, counted.misses, counted.rejections) == (28, 72, 23, 2680)
    assert counted.hit_share == pytest.approx(0.549, abs=5e-4)
    assert counted.false_share == pytest.approx(0.720, abs=5e-4)


def test_reliability_of_a_perfectly_calibrated_stream():
    """In each bin the share that came is the mean stated chance."""
    stated = np.repeat([0.05, 0.25, 0.95], 20)
    came = np.concatenate([np.arange(20) < 1, np.arange(20) < 5, np.arange(20) < 19])
    table = scores.reliability(stated, came)
    assert table.count.tolist() == [20, 0, 20, 0, 0, 0, 0, 0, 0, 20]
    filled = table.count > 0
    assert table.observed[filled] == pytest.approx(table.stated[filled])
    assert np.isnan(table.stated[~filled]).all()


def test_way_is_the_share_of_the_road_to_the_ceiling():
    assert scores.way(1.48, 1.22, 1.03) == pytest.approx(0.578, abs=1e-3)
    assert np.isnan(scores.way(1.0, 0.9, 1.0))
