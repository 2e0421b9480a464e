"""Runs the observer's model forward: where the air of each box goes if the sky does this or that.

Loops over the few steps ahead and takes all moments of issue, all boxes and all assumed skies as one
array, so that a day's forecasts cost about as much as one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine.trace import COVER_LOSS, COVER_SUN, Trace
from propstick.physics.box import SUN_GAIN_C_PER_MIN, BoxRates, air_exchange, decay
from propstick.units import FloatArray, IntArray

CLOUD_FORGOTTEN_MIN = 12.0
TREND_DIES_MIN = 60.0
SOIL_FOLLOWS_PER_MIN = 0.010
"""How fast the probe's depth follows the surface in a run without measured soil; least squares on
observer output of invented boxes."""


@dataclass(frozen=True)
class Moments:
    """The model's state at m moments for b boxes, from which it can be run forward.

    Attributes:
        air_c, surface_c, soil_c, chill, sun, sun_slow, lid, cover: (m, b).
        outside_c, outside_trend_c_min: (m,).
        rates: Six arrays (m, b).
    """

    air_c: FloatArray
    surface_c: FloatArray
    soil_c: FloatArray
    chill: FloatArray
    sun: FloatArray
    sun_slow: FloatArray
    lid: FloatArray
    cover: FloatArray
    outside_c: FloatArray
    outside_trend_c_min: FloatArray
    rates: BoxRates


def moments_of(trace: Trace, rows: IntArray, *, lid: FloatArray | None = None) -> Moments:
    """The state at some rows of a trace.

    Args:
        lid: Opening to assume, (m, b); by default as the observer had it.
    """
    return Moments(
        air_c=trace.air_c[rows],
        surface_c=trace.surface_c[rows],
        soil_c=trace.soil_c[rows],
        chill=trace.chill[rows],
        sun=trace.sun[rows],
        sun_slow=trace.sun_slow[rows],
        lid=trace.lid[rows] if lid is None else lid,
        cover=trace.cover[rows],
        outside_c=trace.outside_c[rows],
        outside_trend_c_min=trace.outside_trend_c_min[rows],
        rates=BoxRates(*np.exp(trace.theta[rows]).transpose(1, 0, 2)),
    )


def run_minutes(
    start: Moments, clear_sky_w_m2: FloatArray, skies: FloatArray, forget_min: FloatArray
) -> FloatArray:
    """Air of every box minute by minute under several assumed skies [°C].

    Args:
        clear_sky_w_m2: Clear-sky sun in each minute ahead, (m, k).
        skies: Sun index that each assumed sky tends to, (s, m, b).
        forget_min: Minutes in which the present index is forgotten, (s, 1, 1).

    Returns:
        Air at the end of each minute, (k, s, m, b).
    """
    steps = clear_sky_w_m2.shape[1]
    exchange = air_exchange(start.rates, start.lid) * (1.0 - (1.0 - COVER_LOSS) * start.cover)
    shrink = 1.0 / (1.0 + exchange + start.rates.soil_air)
    rates = start.rates
    keep = 1.0 - rates.surface_air - rates.surface_soil
    sun_c = SUN_GAIN_C_PER_MIN * clear_sky_w_m2.T[:, :, None] * (1.0 - (1.0 - COVER_SUN) * start.cover)
    forget = np.exp(-1.0 / forget_min)
    air = np.broadcast_to(start.air_c, skies.shape).copy()
    surface = np.broadcast_to(start.surface_c, skies.shape).copy()
    soil = np.broadcast_to(start.soil_c, skies.shape).copy()
    away = start.sun - skies
    trend = (start.outside_trend_c_min * TREND_DIES_MIN)[:, None]
    path = np.empty((steps, *skies.shape))
    for k in range(steps):
        outside = start.outside_c[:, None] + trend * decay(k + 1.0, TREND_DIES_MIN)
        away = away * forget
        warm = (skies + away) * sun_c[k]
        air = (air + exchange * outside + rates.soil_air * surface + warm - start.chill) * shrink
        grown = surface * keep + rates.surface_air * air + rates.surface_soil * soil
        soil = soil + SOIL_FOLLOWS_PER_MIN * (surface - soil)
        surface = grown + rates.surface_sun * warm
        path[k] = air
    return path
