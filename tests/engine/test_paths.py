"""Runs ahead: they end where the balance says, and many are as one."""

from dataclasses import fields, replace

import numpy as np
import pytest

from propstick.engine.observer import observe, start
from propstick.engine.paths import Moments, moments_of, run_minutes
from propstick.physics.box import SUN_GAIN_C_PER_MIN, air_exchange, steady_air_c

STANDS = np.full((1, 1, 1), 600.0)


@pytest.fixture(scope="module")
def moments(garden_rows, kent, two_boxes):
    """The state at three rows of a half day."""
    _, trace = observe(start(two_boxes), garden_rows(0.5), kent)
    return moments_of(trace, np.array([300, 540, 700]))


def test_a_long_steady_run_ends_at_the_steady_state(moments):
    """Constant sun, outside and (nearly) soil: physics.box's steady state with the soil it ends at."""
    one, none = np.ones((3, 2)), np.zeros((3, 2))
    still = replace(moments, outside_trend_c_min=np.zeros(3), chill=none, sun=one, sun_slow=one)
    path = run_minutes(still, np.full((3, 3000), 300.0), np.ones((1, 3, 2)), STANDS)
    # In the end the soil follows its surface; put that surface in as the soil.
    air = path[-1, 0]
    sun_c = np.full((3, 2), SUN_GAIN_C_PER_MIN * 300.0)
    exchange = air_exchange(still.rates, still.lid)
    soil = (air * still.rates.surface_air + still.rates.surface_sun * sun_c) / still.rates.surface_air
    steady = steady_air_c(
        rates=still.rates, exchange=exchange, outside_c=still.outside_c[:, None], soil_c=soil, sun_c=sun_c
    )
    np.testing.assert_allclose(air, steady, atol=0.05)


def test_a_brighter_sky_is_warmer_and_an_open_lid_cooler(moments):
    """At every minute, with the sun up."""
    sun = np.full((3, 60), 400.0)
    skies = np.stack([np.full((3, 2), 0.4), np.full((3, 2), 1.0)])
    dull, bright = run_minutes(moments, sun, skies, np.full((2, 1, 1), 3.0)).transpose(1, 0, 2, 3)
    assert (bright[5:] > dull[5:]).all()
    warm = replace(moments, outside_c=moments.air_c.min(axis=1) - 10.0)
    opened = replace(warm, lid=np.ones((3, 2)))
    closed = run_minutes(warm, sun, skies[1:], STANDS)
    assert (run_minutes(opened, sun, skies[1:], STANDS)[5:] < closed[5:]).all()


def test_one_moment_is_the_same_bits_as_among_others(moments):
    """The second of three run alone."""
    sun = np.full((3, 60), 400.0)
    whole = run_minutes(moments, sun, np.full((1, 3, 2), 0.7), STANDS)
    parts = {f.name: getattr(moments, f.name)[1:2] for f in fields(Moments) if f.name != "rates"}
    rates = type(moments.rates)(*(rate[1:2] for rate in moments.rates))
    alone = run_minutes(Moments(rates=rates, **parts), sun[1:2], np.full((1, 1, 2), 0.7), STANDS)
    np.testing.assert_array_equal(alone[:, :, 0], whole[:, :, 1])
