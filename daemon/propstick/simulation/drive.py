"""From weather to what acts on each box each minute, prepared a day at a time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

import numpy as np

from propstick.garden import Obstacle
from propstick.simulation import glazing
from propstick.simulation.balance import saturated_kg_m3
from propstick.simulation.boxes import AIR_J_M3K, Drive, Frames, State
from propstick.simulation.frame import SOIL_LAYERS_M, FrameSpec
from propstick.simulation.ground import GROUND_ALBEDO, Ground
from propstick.simulation.weather import Weather
from propstick.units import FloatArray, IntArray

SNOW_BELOW_C = 0.5
_CHUNK = 1440


def start(weather: Weather, frames: Frames, ground: Ground) -> State:
    """Boxes as warm as outside, their soil as the open ground, dry and bare of snow."""
    b = len(frames)
    heat = np.full((3 + len(SOIL_LAYERS_M), b), float(weather.air_c[0]))
    heat[2:-1] = ground.layers_c[0][:, None]
    vapour = np.full(b, float(saturated_kg_m3(weather.dew_point_c[:1])[0]))
    return State(heat, vapour, np.zeros(b), np.zeros(b))


def drives(weather: Weather, frames: Frames, ground: Ground) -> Iterator[Drive]:
    """One `Drive` for each minute of the weather."""
    f = frames
    for first in range(0, len(weather), _CHUNK):
        rows = slice(first, first + _CHUNK)
        now = weather.air_c[rows]
        sun_in, sun_open, sun_pane = sun_on_frames(weather, f.specs, rows)
        takes = f.floor * f.takes
        wind = weather.wind_m_s[rows][:, None] * f.shelter
        out_film = 5.0 + 4.0 * wind
        scalars = zip(
            now.tolist(),
            saturated_kg_m3(weather.dew_point_c[rows]).tolist(),
            weather.sky_longwave_w_m2[rows].tolist(),
            np.where(now < SNOW_BELOW_C, weather.rain_mm_h[rows] / 60.0, 0.0).tolist(),
            ground.deep_c[rows].tolist(),
            strict=True,
        )
        of_boxes = zip(
            ground.layers_c[rows][:, :, None], sun_in * takes, sun_open * takes, sun_pane,
            f.leak + f.leak_wind * wind, 0.025 * f.opening * wind,
            1.5 * f.floor * np.minimum(wind, 4.0), 1.0 / out_film, np.minimum(out_film, 15.0) / AIR_J_M3K,
            strict=True,
        )  # fmt: skip
        for numbers, arrays in zip(scalars, of_boxes, strict=True):
            yield Drive(*numbers, *arrays)


def sun_on_frames(
    weather: Weather, specs: Sequence[FrameSpec], rows: slice
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sun let in per floor, sun on the open bed per floor, sun taken up per pane; each (n, b) [W/m²]."""
    elevation, azimuth = weather.sun_elevation_deg[rows], weather.sun_azimuth_deg[rows]
    dni, dhi, ghi = weather.dni_w_m2[rows], weather.dhi_w_m2[rows], weather.ghi_w_m2[rows]
    sin_up = np.maximum(np.sin(np.radians(elevation)), 0.0)
    let_in, bare, taken = [], [], []
    for spec in specs:
        seen = glazing.beam_share(
            elevation,
            azimuth,
            obstacles=spec.obstacles,
            leafless=leafless_at(weather.time_s[rows], spec.obstacles),
        )
        angle = glazing.incidence_deg(elevation, azimuth, tilt_deg=spec.tilt_deg, faces_deg=spec.faces_deg)
        tilt = np.radians(spec.tilt_deg)
        half_sky = 0.5 * (1.0 + np.cos(tilt)) * glazing.sky_view(spec.obstacles)
        beam = dni * seen * np.maximum(np.cos(np.radians(angle)), 0.0) * (elevation > 0.0)
        diffuse = dhi * half_sky + GROUND_ALBEDO * ghi * 0.5 * (1.0 - np.cos(tilt))
        per_floor = 0.95 / np.cos(tilt)  # pane area over floor area
        through = beam * glazing.transmission_share(angle) + diffuse * glazing.DIFFUSE_SHARE
        # A low sun lights the inside of the near wall, not the bed: the deeper the box, the more.
        let_in.append(spec.light * through * per_floor)
        bare.append(dni * seen * sin_up + dhi * glazing.sky_view(spec.obstacles))
        taken.append(0.08 * (beam + diffuse))
    return np.stack(let_in, axis=1), np.stack(bare, axis=1), np.stack(taken, axis=1)


def leafless_at(time_s: IntArray, obstacles: Sequence[Obstacle]) -> FloatArray:
    """Whether each obstacle is a bare tree at each minute, shape (obstacles, n)."""
    bare = np.zeros((len(obstacles), len(time_s)), dtype=bool)
    days, of_minute = np.unique(time_s // 86_400, return_inverse=True)
    dates = [datetime.fromtimestamp(int(day) * 86_400, UTC) for day in days]
    for k, obstacle in enumerate(obstacles):
        if obstacle.leafless_until is not None:
            before = np.array([(date.month, date.day) < obstacle.leafless_until for date in dates])
            bare[k] = before[of_minute]
    return bare
