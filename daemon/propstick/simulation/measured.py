"""Weather by the minute from what a station wrote down by the hour.

Between the hours everything is invented, and so is what the station did not measure: skies are drawn
hour by hour, each weighed with what was measured in that very hour, never with later hours. So a clear
evening does not tell of a clear morning more than in life, and the sky keeps its moods of hours.
"""

from __future__ import annotations

import numpy as np

from propstick.errors import InputError
from propstick.physics.sun import solar_position
from propstick.simulation.series import lagged_noise, relax
from propstick.simulation.skies import BROKEN, CLEAR, FRONT, STRATUS, cloud_of_regimes
from propstick.simulation.sky import clear_sky, longwave_w_m2, through_cloud
from propstick.simulation.weather import MINUTE_S, Weather
from propstick.units import FloatArray, IntArray

_STAYS = np.array([0.94, 0.87, 0.90, 0.80])
"""Chance that each sky lasts another hour; invented, no source."""
_LIGHT = np.array([0.98, 0.72, 0.36, 0.24])
"""Light under each sky over that of a clear one; common practice, no source."""
_NIGHT_PULL_C = np.array([11.0, 8.0, 2.5, 2.0])
_SUN_PULL_C_PER_W_M2 = 0.026
_PULL_H = 7.0


def from_measured(
    time_s: IntArray,
    air_c: FloatArray,
    *,
    latitude_deg: float,
    longitude_deg: float,
    seed: int,
    dew_point_c: FloatArray | None = None,
    wind_m_s: FloatArray | None = None,
    sun_w_m2: FloatArray | None = None,
    longwave_down_w_m2: FloatArray | None = None,
    rain_mm_h: FloatArray | None = None,
    linke: float = 3.2,
) -> Weather:
    """Minutes from a station's series.

    Args:
        time_s: UTC seconds, rising, an hour apart or less; each value counts for the time around its
            own. Gaps are bridged in a straight line: cut a series with long gaps before.
        air_c, dew_point_c, wind_m_s, sun_w_m2, longwave_down_w_m2, rain_mm_h: Shape of `time_s`, NaN
            where missing. What is None is drawn. Sun is kept: its hourly mean is the measured one
            wherever a clear sky can give it.

    Raises:
        InputError: fewer than two times, times that do not rise, or no air temperature at all.
    """
    time_s = np.asarray(time_s, dtype=np.int64)
    air_c = np.asarray(air_c, dtype=float)
    if len(time_s) < 2 or np.any(np.diff(time_s) <= 0):
        raise InputError("station series: expected at least two times, each later than the one before")
    if not np.isfinite(air_c).any():
        raise InputError("station series: no air temperature in it, expected at least one")
    rng = np.random.default_rng(seed)
    first = -(-int(time_s[0]) // MINUTE_S) * MINUTE_S
    minutes = np.arange(first, int(time_s[-1]) + 1, MINUTE_S, dtype=np.int64)
    n = len(minutes)

    def by_minute(values: FloatArray | None) -> FloatArray | None:
        if values is None:
            return None
        values = np.asarray(values, dtype=float)
        good = np.isfinite(values)
        return np.interp(minutes, time_s[good], values[good]) if good.any() else None

    air = by_minute(air_c)
    elevation, azimuth = solar_position(minutes.astype(float), latitude_deg, longitude_deg)
    sin_up = np.maximum(np.sin(np.radians(elevation)), 0.0)
    beam, diffuse = clear_sky(elevation, minutes, linke=linke)
    clear = beam * sin_up + diffuse
    sun, rain = by_minute(sun_w_m2), by_minute(rain_mm_h)
    regimes = _skies(air, clear=clear, sun=sun, rain=rain, rng=rng)
    cloud, cover, drawn_rain = cloud_of_regimes(regimes, elevation, rng=rng)
    dni, dhi = through_cloud(beam, diffuse, sin_up, cloud=cloud, cover=cover)
    if sun is not None:
        dni, dhi = _fitted(dni, dhi, sin_up=sin_up, sun=sun, beam=beam, clear=clear)
    ghi = dni * sin_up + dhi

    gust = np.exp(0.30 * lagged_noise(n, 2.5, rng=rng) - 0.045)
    mean_wind = by_minute(wind_m_s)
    if mean_wind is None:
        mean_wind = 2.0 * np.exp(0.4 * lagged_noise(n, 300.0, rng=rng)) * (0.6 + 0.8 * relax(sin_up, 90.0))
    stir = 0.05 + 0.25 * np.clip(relax(ghi, 10.0) / 700.0, 0.0, 1.2)
    air = air + stir * lagged_noise(n, 4.0, rng=rng) + 0.15 * lagged_noise(n, 25.0, rng=rng)
    dew = by_minute(dew_point_c)
    if dew is None:
        dew = relax(air, 720.0) - 4.0 + 1.0 * lagged_noise(n, 600.0, rng=rng)
    dew = np.minimum(dew, air - 0.05)
    longwave = by_minute(longwave_down_w_m2)
    return Weather(
        time_s=minutes,
        air_c=air,
        dew_point_c=dew,
        wind_m_s=np.maximum(mean_wind * gust, 0.05),
        cloud=cloud,
        cover=cover,
        rain_mm_h=drawn_rain if rain is None else np.maximum(rain, 0.0),
        ghi_w_m2=ghi,
        dni_w_m2=dni,
        dhi_w_m2=dhi,
        sky_longwave_w_m2=longwave_w_m2(air, dew, cover) if longwave is None else longwave,
        sun_elevation_deg=elevation,
        sun_azimuth_deg=azimuth,
    )


def _skies(
    air_c: FloatArray,
    *,
    clear: FloatArray,
    sun: FloatArray | None,
    rain: FloatArray | None,
    rng: np.random.Generator,
) -> IntArray:
    """A sky for every minute, drawn hour by hour.

    Weighed with the hour's light where it was measured, else with the hour's change of air: under a
    clear sky air warms faster by day and cools faster by night.
    """
    n = len(air_c)
    usual = relax(air_c, 1440.0)
    moves = np.full((4, 4), 0.0)
    for sky in range(4):
        moves[sky] = (1.0 - _STAYS[sky]) / 3.0
        moves[sky, sky] = _STAYS[sky]
    out = np.empty(n, dtype=np.int64)
    sky = int(rng.choice([CLEAR, BROKEN, STRATUS]))
    for first in range(0, n, 60):
        hour = slice(first, min(first + 60, n))
        light = float(clear[hour].mean())
        pull = _SUN_PULL_C_PER_W_M2 * light * _LIGHT - _NIGHT_PULL_C
        expected = (pull - (float(air_c[hour].mean()) - float(usual[hour][0]))) / _PULL_H
        rate = float(air_c[hour][-1] - air_c[hour][0]) * 60.0 / max(hour.stop - hour.start - 1, 1)
        weight = moves[sky] * np.exp(-0.5 * np.square((rate - expected) / 0.55))
        if sun is not None and light > 40.0:
            share = float(sun[hour].mean()) / light
            weight = moves[sky] * np.exp(-0.5 * np.square((share - _LIGHT) / 0.12))
        if rain is not None:
            weight = weight * np.where(np.arange(4) == FRONT, 1.0, 0.02 if rain[hour].max() > 0.2 else 1.0)
        weight = weight + 1e-9
        sky = int(rng.choice(4, p=weight / weight.sum()))
        out[hour] = sky
    return out


def _fitted(
    dni: FloatArray,
    dhi: FloatArray,
    *,
    sin_up: FloatArray,
    sun: FloatArray,
    beam: FloatArray,
    clear: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Beam and diffuse light with the measured sun as their mean over every hour."""
    n = len(dni)
    dni, dhi = dni.copy(), dhi.copy()
    for first in range(0, n, 60):
        hour = slice(first, min(first + 60, n))
        measured = np.maximum(sun[hour], 0.0).mean()
        ours = (dni[hour] * sin_up[hour] + dhi[hour]).mean()
        if clear[hour].mean() < 10.0 or ours < 1.0:
            continue
        factor = measured / ours
        dhi[hour] *= min(factor, 1.6)
        left = measured - dhi[hour].mean()
        lit = (dni[hour] * sin_up[hour]).mean()
        if lit > 1.0:
            dni[hour] *= max(left, 0.0) / lit
        dni[hour] = np.minimum(dni[hour], 1.08 * beam[hour])
    return dni, dhi
