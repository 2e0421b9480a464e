"""Weather by the minute: what a `Weather` holds and how one is invented from a seed."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from propstick.physics.sun import solar_position
from propstick.simulation.series import hold, lagged_noise, relax
from propstick.simulation.skies import SkyKnobs, cloud_of_regimes, draw_regimes
from propstick.simulation.sky import clear_sky, longwave_w_m2, through_cloud
from propstick.units import FloatArray, IntArray

MINUTE_S = 60
MINUTES_A_DAY = 1440


@dataclass(frozen=True, kw_only=True)
class Weather:
    """One value a minute of all that acts on a garden. Arrays of shape (n,).

    Attributes:
        time_s: UTC seconds, 60 s apart.
        wind_m_s: At two metres in the open, gusts included.
        cloud: Opacity before the sun that minute, 0–1.
        cover: Share of the sky that is cloud, 0–1, smooth.
        rain_mm_h: Rain, or snow as water where the air is below about 0.5 °C.
        dni_w_m2, dhi_w_m2, ghi_w_m2: Beam facing the sun, diffuse on the level, both on the level.
    """

    time_s: IntArray
    air_c: FloatArray
    dew_point_c: FloatArray
    wind_m_s: FloatArray
    cloud: FloatArray
    cover: FloatArray
    rain_mm_h: FloatArray
    ghi_w_m2: FloatArray
    dni_w_m2: FloatArray
    dhi_w_m2: FloatArray
    sky_longwave_w_m2: FloatArray
    sun_elevation_deg: FloatArray
    sun_azimuth_deg: FloatArray

    def __len__(self) -> int:
        return len(self.time_s)


@dataclass(frozen=True, kw_only=True)
class Climate:
    """What kind of place it is. Defaults: an inland garden at mid latitudes; invented, no source.

    Attributes:
        year_mean_c, year_swing_c: Mean of the year and half the swing between January and July.
        spell_sd_c: Spread of warm and cold spells that last days.
        spell_days: How long they last.
        day_gain: Strength of sun and night sky on the air near the ground; 1 inland, 0.6 by the sea.
        wind_m_s: Mean wind.
        dryness_c: Mean distance of the dew point from the mean air temperature.
        linke: Turbidity of a clear sky.
        sky: How often which sky.
    """

    year_mean_c: float = 9.5
    year_swing_c: float = 9.5
    spell_sd_c: float = 3.2
    spell_days: float = 2.5
    day_gain: float = 1.0
    wind_m_s: float = 2.2
    dryness_c: float = 4.0
    linke: float = 3.2
    sky: SkyKnobs = field(default_factory=SkyKnobs)


def invented(
    latitude_deg: float,
    longitude_deg: float,
    *,
    start_s: int,
    days: float,
    seed: int,
    climate: Climate | None = None,
) -> Weather:
    """Weather that could have been: spells of days, skies of hours, clouds and gusts of minutes.

    Args:
        start_s: UTC seconds, taken down to the whole minute.

    Deterministic for equal arguments.
    """
    climate = climate or Climate()
    rng = np.random.default_rng(seed)
    n = round(days * MINUTES_A_DAY)
    time_s = start_s - start_s % MINUTE_S + MINUTE_S * np.arange(n, dtype=np.int64)
    elevation, azimuth = solar_position(time_s.astype(float), latitude_deg, longitude_deg)
    regimes = draw_regimes(n, rng=rng, knobs=climate.sky)
    cloud, cover, rain = cloud_of_regimes(regimes, elevation, rng=rng)

    beam, diffuse = clear_sky(elevation, time_s, linke=climate.linke)
    sin_up = np.sin(np.radians(elevation))
    dni, dhi = through_cloud(beam, diffuse, sin_up, cloud=cloud, cover=cover)
    ghi = dni * np.maximum(sin_up, 0.0) + dhi

    south = -1.0 if latitude_deg < 0 else 1.0
    season = climate.year_mean_c - south * climate.year_swing_c * np.cos(
        2.0 * np.pi * (time_s / 86_400.0 / 365.2425 % 1.0 - 0.055)
    )
    spell = climate.spell_sd_c * lagged_noise(n, climate.spell_days * MINUTES_A_DAY, rng=rng)
    shift = relax(hold(regimes, (-0.5, -1.0, 0.3, 1.0)), 360.0)
    mass = season + spell + shift

    calm = relax(hold(regimes, (0.55, 1.1, 0.9, 1.7)), 90.0)
    slow = np.exp(0.35 * lagged_noise(n, 300.0, rng=rng))
    by_day = 0.55 + 0.75 * relax(np.clip(sin_up, 0.0, 1.0), 90.0) / 0.6
    gust = np.exp(0.30 * lagged_noise(n, 2.5, rng=rng) - 0.045)
    wind_mean = climate.wind_m_s * calm * slow * by_day
    wind = np.maximum(wind_mean * gust, 0.05)

    depression = climate.dryness_c * relax(hold(regimes, (2.2, 1.1, 0.5, 0.3)), 400.0)
    dew = mass - depression + 1.0 * lagged_noise(n, 600.0, rng=rng)
    air = _air(mass, ghi=relax(ghi, 20.0), dew_c=dew, cover=cover, wind_m_s=wind_mean, gain=climate.day_gain)
    stir = 0.06 + 0.30 * np.clip(relax(ghi, 10.0) / 700.0, 0.0, 1.2)
    air = air + stir * lagged_noise(n, 4.0, rng=rng) + 0.20 * lagged_noise(n, 35.0, rng=rng)
    dew = np.minimum(dew, air - 0.05)
    return Weather(
        time_s=time_s, air_c=air, dew_point_c=dew, wind_m_s=wind, cloud=cloud, cover=cover, rain_mm_h=rain,
        ghi_w_m2=ghi, dni_w_m2=dni, dhi_w_m2=dhi, sky_longwave_w_m2=longwave_w_m2(air, dew, cover),
        sun_elevation_deg=elevation, sun_azimuth_deg=azimuth,
    )  # fmt: skip


def _air(
    mass_c: FloatArray,
    *,
    ghi: FloatArray,
    dew_c: FloatArray,
    cover: FloatArray,
    wind_m_s: FloatArray,
    gain: float,
) -> FloatArray:
    """Air near the ground: pushed by sun and by the night sky, drawn back to the air mass by wind.

    Calm clear air cools far below the air mass, and less once it reaches its dew point.
    """
    tau_min = 420.0 / (1.0 + 0.18 * wind_m_s)
    # A stable layer forms only in light wind; wind above about 3 m/s keeps the night mixed.
    stable = 1.0 / (1.0 + np.power(wind_m_s / 2.0, 2.0))
    loss = (1.0 - 0.85 * cover) * (4.0 + 8.0 * stable)
    push = gain * (0.026 * ghi - loss)
    out = np.empty(len(mass_c))
    air = float(mass_c[0] + push[0] * 0.5)
    rows = zip(mass_c.tolist(), push.tolist(), dew_c.tolist(), tau_min.tolist(), strict=True)
    for row, (mass, pushed, dew, tau) in enumerate(rows):
        change = (mass + pushed - air) / tau
        if change < 0.0 and air < dew + 0.5:
            change *= 0.35  # dew and fog give their heat back
        air += change
        out[row] = air
    return out
