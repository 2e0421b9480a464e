"""Gardens in which something befalls a box that no weather explains, for `tests.bench.upsets`.

Boxes of `propstick.simulation` under invented and measured weather. Each garden is lived through twice, left
alone and upset, with the same hands at the lids: half are aired by warmth, a quarter by the clock, a quarter
are left shut; of half of them nobody tells the lid.
"""

from __future__ import annotations

import csv
import gzip
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from propstick.blocks import PlaceRows
from propstick.garden import Box, Site
from propstick.simulation.frame import FrameSpec
from propstick.simulation.garden import Garden
from propstick.simulation.ground import depth_weights
from propstick.simulation.measured import from_measured
from propstick.simulation.skies import SkyKnobs
from propstick.simulation.upsets import snowed_in, watered
from propstick.simulation.weather import Climate, Weather, invented
from propstick.units import FloatArray

DAYS, UPSET_DAY, DAY_ROWS, BOXES = 18, 11, 1440, 8
NOISE_C = 0.04
KINDS = (
    "none",
    "watered",
    "watered-mild",
    "snow",
    "mat",
    "pressed",
    "fallen",
    "lid-off",
    "lid-off-shown-shut",
)
POURED_KG_M2, WATER_C = 12.0, 9.0
STICKS_BELOW_C = 4.0
"""Outside air below which snow is taken to stay on the glass, frozen to its frame; a guess."""
PRESSED_M = 0.02
"""Depth at which an air probe ends that is pressed into the bed."""

DATA_SETS = {
    "davos_2013-17": (46.815, 9.856, "Europe/Zurich"),
    "tharandt_1998a": (50.96, 13.57, "Europe/Berlin"),
    "newark_2013_degF": (40.69, -74.17, "America/New_York"),
    "laguardia_2013_degF": (40.78, -73.87, "America/New_York"),
}


@dataclass(frozen=True)
class World:
    """A garden lived through: rows as read, what befell each box, when it was watered (rows; none -1)."""

    name: str
    site: Site
    specs: tuple[FrameSpec, ...]
    rows: PlaceRows
    kinds: tuple[str, ...]
    upset_row: int

    @property
    def boxes(self) -> tuple[Box, ...]:
        """As the grower's file would have them."""
        return tuple(Box(name=s.name, floor_m2=s.floor_m2, glazing=s.glazing) for s in self.specs)


def skies(seed: int, data: Path | None) -> Iterator[tuple[str, Weather, Site]]:
    """One weather of each source: three invented, and what is measured where the folder has it."""
    rng = np.random.default_rng([0x5C1E5, seed])
    for month, latitude in ((2, 47.0), (4, 52.0), (10, 50.0)):
        start_s = int(datetime(2025, month, int(rng.integers(1, 28)), tzinfo=UTC).timestamp())
        climate = Climate(
            year_mean_c=float(rng.uniform(7.0, 12.0)), spell_sd_c=2.0, wind_m_s=float(rng.uniform(1.0, 3.0)),
            sky=SkyKnobs(clear_h=float(rng.uniform(10.0, 30.0))),
        )  # fmt: skip
        weather = invented(latitude, 8.0, start_s=start_s, days=DAYS, seed=seed * 10 + month, climate=climate)
        yield f"invented-{month}", weather, Site(latitude=latitude, longitude=8.0, zone="Europe/Berlin")
    for name, (latitude, longitude, zone) in DATA_SETS.items():
        if data is not None and (data / f"{name}.csv.gz").exists():
            weather = _station(data, name, latitude, longitude, seed=seed, rng=rng)
            yield name, weather, Site(latitude=latitude, longitude=longitude, zone=zone)


def _station(
    data: Path, name: str, latitude: float, longitude: float, *, seed: int, rng: np.random.Generator
) -> Weather:
    with gzip.open(data / f"{name}.csv.gz", "rt") as file:
        table = list(csv.DictReader(file))
    at_s = np.array([int(datetime.fromisoformat(row["time"]).timestamp()) for row in table])
    air = np.array([float(row["outside.air"] or "nan") for row in table])
    if name.endswith("degF"):
        air = (air - 32.0) / 1.8
    months = (2, 3, 4) if name.startswith("tharandt") else (2, 3, 4, 10, 11)
    year = int(rng.integers(2013, 2017)) if name.startswith("davos") else int(name.split("_")[1][:4])
    month = int(rng.choice(months))
    first = int(datetime(year, month, int(rng.integers(1, 12)), tzinfo=UTC).timestamp())
    here = (at_s >= first) & (at_s < first + 86_400 * DAYS)
    return from_measured(at_s[here], air[here], latitude_deg=latitude, longitude_deg=longitude, seed=seed)


def lived(
    name: str, weather: Weather, site: Site, *, seed: int, kinds: tuple[str, ...] = ("none",) * BOXES
) -> World:
    """Eight drawn boxes under that weather, read by the minute."""
    rng = np.random.default_rng([0x11ED, seed])
    b, n = len(kinds), len(weather) // DAY_ROWS * DAY_ROWS
    specs = tuple(FrameSpec.draw(4000 + 100 * seed + k, name=f"box{k}") for k in range(b))
    garden = Garden(weather, specs)
    local_h = ((weather.time_s + 240 * site.longitude) % 86_400) / 3600.0
    day = ((weather.time_s + 240 * site.longitude) // 86_400).astype(int)
    day -= day[0]
    habit = rng.permutation(np.resize([0, 0, 1, 2], b))
    told = rng.permutation(np.resize([True, False], b))
    starts_h = rng.uniform(8.0, 10.5, b)
    ends_h = rng.uniform(16.0, 18.0, b)
    width = rng.choice([0.1, 0.3, 0.6], b)
    hits_h = rng.uniform(9.0, 15.0)
    along = rng.uniform(0.0, 0.6, b)
    upset_row = int(np.flatnonzero((day >= UPSET_DAY) & (local_h >= hits_h))[0])
    snows = int(np.flatnonzero((day >= UPSET_DAY) & (local_h >= 5.0))[0])
    of = {kind: np.array([k == kind for k in kinds]) for kind in KINDS}
    off = of["lid-off"] | of["lid-off-shown-shut"]
    noise = np.random.default_rng([0x0153, seed])
    shallow = depth_weights(np.full(b, PRESSED_M))
    lid, air, soil, lids = np.zeros(b), np.empty((n, b)), np.empty((n, b)), np.empty((n, b))
    mat = np.zeros(b)
    for row in range(n):
        past = row - upset_row
        if row % 5 == 0:
            warm, now = garden.state.air_c, local_h[row]
            by_heat = np.select(
                [warm > 30.0, warm > 25.0, warm < 18.0], [1.0, np.maximum(lid, 0.3), 0.0], lid
            )
            by_heat = by_heat * ((now > 7.5) & (now < 18.0))
            by_clock = width * ((now > starts_h) & (now < ends_h) & (warm > 5.0))
            lid = np.choose(habit, [by_heat, by_clock, np.zeros(b)])
        true_lid = np.where(off & (past >= 0), 1.0, lid)
        shown = np.where(of["lid-off-shown-shut"] & (past >= 0), 0.0, lid)
        if of["mat"].any():
            mat = np.where(of["mat"] & (past >= 0), 1.0, 0.0)
            true_lid, shown = np.where(mat > 0, 0.0, true_lid), np.where(mat > 0, 0.0, shown)
        if row == snows and of["snow"].any():
            garden.state = snowed_in(garden.state, snow_kg_m2=20.0 * of["snow"])
        if of["snow"].any() and past >= 0 and weather.air_c[row] < STICKS_BELOW_C:  # frozen to the frame
            least = 20.0 * of["snow"]
            garden.state = snowed_in(
                garden.state, snow_kg_m2=np.maximum(least - garden.state.snow_kg_m2, 0.0)
            )
        if of["snow"].any():  # nobody lifts a lid under snow
            lies = garden.state.snow_kg_m2 * of["snow"] > 1.0
            true_lid, shown = np.where(lies, 0.0, true_lid), np.where(lies, 0.0, shown)
        if 0 <= past < 6:
            for kind, water_c in (("watered", WATER_C), ("watered-mild", None)):
                if of[kind].any():
                    warmth = float(garden.state.soil_c[1, of[kind]].mean()) if water_c is None else water_c
                    garden.state = watered(
                        garden.state, garden.frames, poured_kg_m2=POURED_KG_M2 / 6.0 * of[kind], along=along,
                        water_c=warmth,
                    )  # fmt: skip
        garden.advance(true_lid, mat)
        soil[row] = garden.frames.at_probe(garden.state.soil_c)
        seen = garden.state.air_c
        if past >= 0:
            seen = np.where(of["pressed"], (shallow * garden.state.soil_c).sum(axis=0), seen)
            seen = np.where(of["fallen"], weather.air_c[row], seen)
        air[row], lids[row] = seen, shown

    def read(true: FloatArray) -> FloatArray:
        return np.round(true + NOISE_C * noise.standard_normal(true.shape), 2)

    unknown = np.full((n, b), np.nan)
    rows = PlaceRows(
        time_s=weather.time_s[:n], outside_air_c=read(weather.air_c[:n]),
        outside_soil_c=read(garden.ground.probe_c[:n]), outside_humidity_pct=np.full(n, np.nan),
        air_c=read(air), soil_c=read(soil), humidity_pct=unknown, moisture_pct=unknown,
        lid=np.where(told | of["lid-off-shown-shut"], lids, np.nan), cover=np.zeros((n, b)),
        fresh=np.ones((n, b), dtype=bool),
    )  # fmt: skip
    return World(name, site, specs, rows, kinds, upset_row)


def kinds_of(seed: int) -> tuple[str, ...]:
    """What befalls the eight boxes: each kind in turn, two of the eight always left alone."""
    turn = np.random.default_rng([0xF17, seed]).permutation(np.resize(KINDS[1:], BOXES - 2 + 8))[: BOXES - 2]
    return ("none", "none", *(str(kind) for kind in turn))
