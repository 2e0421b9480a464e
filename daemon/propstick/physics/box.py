"""Heat balance of a small glazed box in two nodes, one implicit step at a time.

Air and the top centimetre of soil exchange warmth with each other, with the outside, with the soil
below, and take in the sun. Rates are per minute and per degree, so that no heat capacity in J/K has
to be known: only what a box does can be learnt from its temperatures. Temperatures after a step come
from an implicit air node and an explicit soil node, stable for any step up to five minutes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from propstick.units import FloatArray

SUN_GAIN_C_PER_MIN = 7.6e-4
"""Warming of the air by 1 W/m² of sun [°C/min]. Fixed: only its product with the sun index shows.
7 kJ/K of air, frame and leaves under 0.72 m² of glass that lets 0.75 through and gives a sixth of it
straight to the air; common practice, no source."""


class BoxRates(NamedTuple):
    """What a box does per minute; arrays of any common shape.

    Attributes:
        loss: Air to outside through glass and walls, lid closed [1/min].
        soil_air: Air from the soil surface [1/min].
        open_loss: Air to outside through a fully open lid [1/min].
        surface_air: Soil surface from the air [1/min].
        surface_soil: Soil surface from the soil at the probe [1/min].
        surface_sun: Sun on the surface over sun on the air.
    """

    loss: FloatArray
    soil_air: FloatArray
    open_loss: FloatArray
    surface_air: FloatArray
    surface_soil: FloatArray
    surface_sun: FloatArray


def air_exchange(rates: BoxRates, lid: FloatArray) -> FloatArray:
    """Air to outside at that opening [1/min]: half of the glass no longer counts with the lid right up."""
    return rates.loss * (1.0 - 0.5 * lid) + rates.open_loss * lid


def step(
    air_c: FloatArray,
    surface_c: FloatArray,
    *,
    rates: BoxRates,
    exchange: FloatArray,
    outside_c: FloatArray,
    soil_c: FloatArray,
    sun_c: FloatArray,
    chill_c: FloatArray,
    minutes: float = 1.0,
) -> tuple[FloatArray, FloatArray]:
    """Air and soil surface one step later [°C].

    Args:
        exchange: Air to outside [1/min], from `air_exchange`.
        sun_c: Warming of the air by the sun [°C/min].
        chill_c: Cooling by the sky beyond the outside air [°C/min].
        minutes: Length of the step; the balance holds per minute.

    All arrays of one shape, or such that they broadcast.
    """
    gain = exchange * outside_c + rates.soil_air * surface_c + sun_c - chill_c
    new_air = (air_c + minutes * gain) / (1.0 + minutes * (exchange + rates.soil_air))
    new_surface = surface_c + minutes * (
        rates.surface_air * (new_air - surface_c)
        + rates.surface_soil * (soil_c - surface_c)
        + rates.surface_sun * sun_c
    )
    return new_air, new_surface


def steady_air_c(
    *, rates: BoxRates, exchange: FloatArray, outside_c: FloatArray, soil_c: FloatArray, sun_c: FloatArray
) -> FloatArray:
    """Air temperature at which the box would settle if nothing changed [°C].

    From the two balances set to zero; the surface is eliminated by hand.
    """
    down = rates.surface_air + rates.surface_soil
    share = rates.surface_air / down
    held = (rates.surface_soil * soil_c + rates.surface_sun * sun_c) / down
    return (exchange * outside_c + rates.soil_air * held + sun_c) / (
        exchange + rates.soil_air * (1.0 - share)
    )


def decay(minutes: float, time_constant_min: float) -> float:
    """Share of a gap that is closed in that time by a first-order lag."""
    return float(-np.expm1(-minutes / time_constant_min))
