"""An unshaded probe on a bare spot: a metal rod in sun, wind and the shadows of what stands around."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from propstick.garden import Obstacle
from propstick.simulation import glazing
from propstick.simulation.drive import leafless_at
from propstick.simulation.ground import GROUND_ALBEDO
from propstick.simulation.probes import STEP_C
from propstick.simulation.weather import Weather
from propstick.units import FloatArray


def bare_probe_c(
    weather: Weather,
    obstacles: Sequence[Obstacle],
    *,
    absorbs: float = 0.7,
    shelter: float = 0.5,
    lag_minutes: float = 3.0,
    seed: int = 1,
) -> FloatArray:
    """What the probe says minute by minute, shape (n,), in steps of the wired thermometer.

    Its surface takes a quarter of the beam and half of what sky and ground send (a ball), and gives it to
    the air by 9 √wind + 8 W/m²K beside 5 for long waves: of the right size for a sheath of 6 mm, no source.

    Args:
        absorbs: Of the sun on it; 0.5 polished, 0.9 black.
        shelter: Wind at the probe over wind in the open.
    """
    rng = np.random.default_rng([0xBA4E, seed])
    seen = glazing.beam_share(
        weather.sun_elevation_deg,
        weather.sun_azimuth_deg,
        obstacles=obstacles,
        leafless=leafless_at(weather.time_s, obstacles),
    )
    sky = weather.dhi_w_m2 * glazing.sky_view(obstacles) / 2.0
    ground = GROUND_ALBEDO * weather.ghi_w_m2 * (0.3 + 0.7 * seen) / 2.0
    sun = absorbs * (weather.dni_w_m2 * seen / 4.0 + sky + ground)
    gives = 5.0 + 8.0 + 9.0 * np.sqrt(np.maximum(weather.wind_m_s * shelter, 0.2))
    here = weather.air_c + sun / gives
    felt, held = np.empty(len(here)), float(here[0])
    keep = float(np.exp(-1.0 / lag_minutes))
    for k, now in enumerate(here.tolist()):
        held = now + keep * (held - now)
        felt[k] = held
    said = felt + rng.normal(0.0, 0.2) + rng.normal(0.0, 0.03, len(felt))
    return np.round(said / STEP_C) * STEP_C
