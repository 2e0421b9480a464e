"""Heat-ahead: says yes when the box is on its way, no when it is not, and the same however it is fed."""

from dataclasses import fields
from itertools import pairwise

import numpy as np
import pytest

from propstick.engine.heat_ahead import HeatAhead, eta_minutes, look_ahead, start_heat
from propstick.engine.heat_learning import invented_limits
from propstick.engine.observer import observe, start
from propstick.garden import Site


def forecast(rows, site, boxes, limit_c, edges=None):
    """Observer and forecast over the rows, cut at the edges."""
    state, heat, out = start(boxes), start_heat(len(boxes)), []
    edges = [0, *(edges or []), len(rows)]
    for first, stop in pairwise(edges):
        state, trace = observe(state, rows.cut(first, stop), site)
        heat, ahead = look_ahead(
            heat, trace, limit_c=np.full(len(boxes), limit_c), boxes=boxes, site=site, step_s=60
        )
        out.append((first, ahead))
    return heat, out


def test_a_limit_on_the_way_is_likely_and_one_out_of_reach_is_not(garden_rows, kent, two_boxes):
    """On a clear morning, half an hour before the air is there: above 0.3; ten degrees higher: below 0.1."""
    rows = garden_rows(1.0, cloud=0.0)
    morning = int(np.flatnonzero(rows.time_s % 86_400 == 8 * 3600)[0])
    there_c = float(rows.air_c[morning + 25, 0])
    _, [(_, ahead)] = forecast(rows, kent, two_boxes, there_c)
    at = int(np.flatnonzero(ahead.time_s == rows.time_s[morning])[0])
    assert ahead.p30[at, 0] > 0.3
    assert abs(ahead.eta_s[at, 0] - rows.time_s[morning + 25]) < 12 * 60
    assert ahead.eta_low_s[at, 0] < ahead.eta_s[at, 0] < ahead.eta_high_s[at, 0]
    _, [(_, far)] = forecast(rows, kent, two_boxes, there_c + 10.0)
    assert far.p30[at, 0] < 0.1


def test_later_horizons_are_never_less_likely(garden_rows, kent, two_boxes):
    """p20 ≤ p30 ≤ p60, all in [0, 1]."""
    _, [(_, ahead)] = forecast(garden_rows(1.0), kent, two_boxes, 18.0)
    assert len(ahead.time_s) > 50
    assert (ahead.p20 <= ahead.p30).all()
    assert (ahead.p30 <= ahead.p60).all()
    assert ahead.p20.min() >= 0.0
    assert ahead.p60.max() <= 1.0


@pytest.mark.slow
def test_chopping_never_shows(garden_rows, kent, two_boxes):
    """Two days with learning in between, whole or in uneven pieces: the same bits."""
    rows = garden_rows(2.0, cloud=0.3)
    state, [(_, whole)] = forecast(rows, kent, two_boxes, 20.0)
    edges = [1, 2, 333, 334, 700, 1440, 1561, 1999, 2000, 2500]
    carried, parts = forecast(rows, kent, two_boxes, 20.0, edges)
    for f in fields(HeatAhead):
        shift = f.name == "row"
        joined = np.concatenate([getattr(p, f.name) + shift * first for first, p in parts])
        np.testing.assert_array_equal(getattr(whole, f.name), joined, err_msg=f.name)
    np.testing.assert_array_equal(state.learning.beta, carried.learning.beta)
    np.testing.assert_array_equal(state.learning.normal, carried.learning.normal)


def test_it_learns_from_invented_limits(garden_rows, kent, two_boxes):
    """After a day and a half the coefficients have moved, though no limit was ever near."""
    state, _ = forecast(garden_rows(1.5), kent, two_boxes, 60.0)
    begun = start_heat(2).learning
    assert not np.array_equal(state.learning.beta, begun.beta)
    assert np.isfinite(state.learning.beta).all()


def test_a_silent_box_has_no_forecast(garden_rows, kent, two_boxes):
    """NaN, not nonsense, for the box that does not speak; the other goes on."""
    rows = garden_rows(0.6)
    rows.air_c[500:, 1] = np.nan
    _, [(_, ahead)] = forecast(rows, kent, two_boxes, 18.0)
    late = ahead.row > 520
    assert np.isnan(ahead.p30[late, 1]).all()
    assert np.isfinite(ahead.p30[late, 0]).all()


def test_without_a_site_it_forecasts_from_the_trend(garden_rows, two_boxes):
    """No sun: still finite chances for boxes near their limit."""
    _, [(_, ahead)] = forecast(garden_rows(0.6), Site(), two_boxes, 18.0)
    assert np.isfinite(ahead.p30[12:]).all()


def test_invented_limits_spread_and_repeat(two_boxes):
    """Log-uniform from 0.4 to 9 °C: median near 1.9; the same box and time always get the same."""
    times = 600 * np.arange(5000)
    limits = invented_limits(two_boxes, times)
    assert limits.min() >= 0.4
    assert limits.max() <= 9.0
    assert np.median(limits) == pytest.approx((0.4 * 9.0) ** 0.5, rel=0.1)
    assert not np.array_equal(limits[:, 0], limits[:, 1])
    np.testing.assert_array_equal(limits[123:124], invented_limits(two_boxes, times[123:124]))


def test_the_time_follows_from_the_chances():
    """By hand: 0.6, 0.8, 1.0 pass the half at 20·0.5/0.6 min, 5 % at 1.67 and 95 % at 30 + 30·0.75 min."""
    low, middle, high = eta_minutes(np.array([0.6, 0.8, 1.0]).reshape(1, 3, 1))[:, 0, 0]
    assert (low, middle, high) == pytest.approx((20 * 0.05 / 0.6, 20 * 0.5 / 0.6, 52.5))
    assert np.isnan(eta_minutes(np.array([0.0, 0.01, 0.02]).reshape(1, 3, 1))).all()
