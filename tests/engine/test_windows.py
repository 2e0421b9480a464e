"""Means and slopes over the last minutes, against plain numpy on each window."""

import numpy as np
import pytest

from propstick.engine.windows import (
    extend,
    lagged,
    last,
    rows_since,
    start_window,
    trailing_least,
    trailing_mean,
    trailing_slope,
)

RNG = np.random.default_rng(5)
VALUES = RNG.normal(10.0, 3.0, (50, 2))
GAPPY = np.where(RNG.random((50, 2)) < 0.3, np.nan, VALUES)


def test_mean_is_numpy_of_each_window():
    """nanmean of the last seven rows, gaps left out."""
    for row in (0, 6, 30, 49):
        window = GAPPY[max(0, row - 6) : row + 1]
        expected = np.where(np.isnan(window).all(axis=0), np.nan, np.nanmean(window, axis=0))
        np.testing.assert_allclose(trailing_mean(GAPPY, 7)[row], expected)


def test_slope_is_numpy_polyfit():
    """Degree one through the last eleven rows, at half-minute rows."""
    slope = trailing_slope(VALUES, 10, minutes=0.5)
    minutes = 0.5 * np.arange(11)
    assert slope[30, 0] == pytest.approx(np.polyfit(minutes, VALUES[20:31, 0], 1)[0])


def test_slope_needs_half_of_its_rows_and_the_newest():
    """Unknown where most are missing or the row itself is silent."""
    values = VALUES.copy()
    values[20:28] = np.nan
    values[40] = np.nan
    slope = trailing_slope(values, 10, minutes=1.0)
    assert np.isnan(slope[[29, 40]]).all()
    assert np.isfinite(slope[[39, 49]]).all()


def test_least_is_the_least_of_the_window():
    """The smallest of the last five; unknown values do not count; none before the fifth row."""
    least = trailing_least(GAPPY, 5)
    np.testing.assert_array_equal(least[20], np.nanmin(GAPPY[16:21], axis=0))
    np.testing.assert_array_equal(trailing_least(VALUES, 1), VALUES)


def test_lagged_shifts():
    """Three rows earlier, NaN before that."""
    moved = lagged(VALUES, 3)
    np.testing.assert_array_equal(moved[3:], VALUES[:-3])
    assert np.isnan(moved[:3]).all()


def test_rows_since_counts_on_from_before():
    """2 minutes a row: continues the carried count, starts at 0 on the event."""
    event = np.array([[False], [True], [False], [False]])
    np.testing.assert_array_equal(
        rows_since(event, np.array([10.0]), minutes=2.0)[:, 0], [12.0, 0.0, 2.0, 4.0]
    )


def test_a_window_keeps_its_last_rows():
    """Extended by four and cut back to three: the newest three."""
    new = np.arange(4.0)
    window = extend(start_window(3, 1), outside_c=new, air_c=new[:, None], soil_c=new[:, None])
    assert len(window) == 7
    np.testing.assert_array_equal(last(window, 3).outside_c, [1.0, 2.0, 3.0])
