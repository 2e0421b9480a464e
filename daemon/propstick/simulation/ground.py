"""The open ground beside the boxes: a bare bed under sun, sky, wind and rain."""

from __future__ import annotations

from math import exp
from typing import NamedTuple

import numpy as np

from propstick.simulation.frame import SOIL_LAYERS_M
from propstick.simulation.weather import Weather
from propstick.units import KELVIN_AT_0_C, FloatArray

_SIGMA = 5.670374419e-8
STEP_S = 60.0
GROUND_ALBEDO = 0.18
PROBE_DEPTH_M = 0.05


def depth_weights(depth_m: FloatArray) -> FloatArray:
    """Weights of the layers for a temperature at those depths, straight between the layers' middles."""
    layers = np.array(SOIL_LAYERS_M)
    middle = np.cumsum(layers) - 0.5 * layers
    return np.stack([np.interp(depth_m, middle, row) for row in np.eye(len(layers))])


def soil_column(
    layers_m: FloatArray, *, volume_j_m3k: FloatArray, conduct_w_mk: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Warming of each layer per W/m² in a minute, links between layers, link to what lies below [W/m²K].

    Finite volumes; the half layer between a node and its layer's edge carries the resistance.
    """
    per_c = STEP_S / (volume_j_m3k * layers_m)
    links = conduct_w_mk / (0.5 * (layers_m[1:] + layers_m[:-1]))
    return per_c, links, conduct_w_mk / (0.5 * layers_m[-1])


def soil_step(
    soil_c: FloatArray,
    into_top_w_m2: FloatArray,
    *,
    per_c: FloatArray,
    links: FloatArray,
    last: FloatArray,
    bottom_c: float,
) -> tuple[FloatArray, FloatArray]:
    """Soil layers a minute later, explicitly, and what flowed in from below [W/m²]."""
    down = links * (soil_c[:-1] - soil_c[1:])
    from_below = last * (bottom_c - soil_c[-1])
    gain = np.empty_like(soil_c)
    gain[0] = into_top_w_m2
    gain[1:] = down
    gain[:-1] -= down
    gain[-1] += from_below
    return soil_c + per_c * gain, from_below


def deep_soil_c(weather: Weather) -> FloatArray:
    """Soil at 65 cm: the mean of the air so far, as slow as soil is there. Knows nothing of tomorrow.

    Starts from the mean of the first three days, as if they had been like the weeks before.
    """
    n = len(weather)
    keep = float(np.exp(-1.0 / (20.0 * 1440.0)))
    held = float(np.mean(weather.air_c[: min(n, 3 * 1440)])) + 0.5
    out = []
    for air in weather.air_c.tolist():
        held = keep * held + (1.0 - keep) * (air + 0.5)
        out.append(held)
    return np.array(out)


class Ground(NamedTuple):
    """Open ground by the minute.

    Attributes:
        layers_c: Its layers, shape (n, layers).
        deep_c: Below them, at about 65 cm, shape (n,).
        probe_c: Where a probe 5 cm deep would be, shape (n,).
    """

    layers_c: FloatArray
    deep_c: FloatArray
    probe_c: FloatArray


def open_ground(
    weather: Weather, *, volume_j_m3k: float = 2.3e6, conduct_w_mk: float = 1.0, wet: float = 0.35
) -> Ground:
    """A bare bed under that weather; knows at each minute only the weather so far."""
    deep_c = deep_soil_c(weather)
    layers = np.array(SOIL_LAYERS_M)
    k = len(layers)
    per_c, links, last = soil_column(layers, volume_j_m3k=volume_j_m3k, conduct_w_mk=conduct_w_mk)
    per_c, links, last = per_c.tolist(), links.tolist(), float(last)
    start = 0.5 * (float(weather.air_c[0]) + float(deep_c[0]))
    depth = np.cumsum(layers) - 0.5 * layers
    soil = (deep_c[0] + (start - deep_c[0]) * np.exp(-depth / 0.12)).tolist()
    # Near the ground the wind is weak; still air by night holds a skin of cold.
    convect = (4.0 + 3.5 * weather.wind_m_s).tolist()
    sun = ((1.0 - GROUND_ALBEDO) * weather.ghi_w_m2).tolist()
    rain = (weather.rain_mm_h * (4186.0 / 3600.0)).tolist()
    vapour_out = np.exp(17.27 * weather.dew_point_c / (weather.dew_point_c + 237.3)) * 610.8
    out = np.empty((len(weather), k))
    rows = zip(
        weather.air_c.tolist(), deep_c.tolist(), convect, sun, rain,
        weather.sky_longwave_w_m2.tolist(), vapour_out.tolist(), strict=True,
    )  # fmt: skip
    for row, (air, deep, h, sunshine, wetting, sky, vapour) in enumerate(rows):
        top = soil[0]
        excess = 610.8 * exp(17.27 * top / (top + 237.3)) - vapour
        latent = (wet if excess > 0.0 else 1.0) * 0.015 * h * excess
        into = sunshine + 0.95 * (sky - _SIGMA * (top + KELVIN_AT_0_C) ** 4)
        into += (h + wetting) * (air - top) - latent
        flow_in = into
        for layer in range(k - 1):
            flow_out = links[layer] * (soil[layer] - soil[layer + 1])
            soil[layer] += per_c[layer] * (flow_in - flow_out)
            flow_in = flow_out
        soil[-1] += per_c[-1] * (flow_in + last * (deep - soil[-1]))
        out[row] = soil
    at_probe = depth_weights(np.array([PROBE_DEPTH_M]))[:, 0]
    return Ground(out, deep_c, (out * at_probe).sum(axis=1))
