"""Made-up gardens for the engine's tests: cheap rows, no simulator."""

from dataclasses import dataclass, fields
from datetime import time

import numpy as np
import pytest

from propstick.blocks import Block, Flag, PlaceRows
from propstick.engine.pipeline import advance, begin
from propstick.garden import Box, Garden, Person, Probe, Site, Sowing
from propstick.physics.box import BoxRates, air_exchange, step
from propstick.physics.sun import clear_sky_w_m2, solar_position

KENT = Site(latitude=51.2, longitude=0.6, zone="Europe/London")
MIDNIGHT_S = 1_743_465_600  # 2025-04-01T00:00:00Z
RATES = BoxRates(*(np.array([v, 1.2 * v]) for v in (0.05, 0.04, 0.40, 0.025, 0.06, 1.0)))


def _garden_rows(days=1.0, *, seed=1, lid=0.0, cloud=0.5, lid_told=True, step_s=60, start_s=MIDNIGHT_S):
    """Two boxes that obey the model itself, with passing clouds, noise and a lid as asked."""
    rng = np.random.default_rng(seed)
    n = round(days * 1440)
    time_s = start_s + 60 * np.arange(n)
    elevation, _ = solar_position(time_s, KENT.latitude, KENT.longitude)
    clear = clear_sky_w_m2(elevation)
    shade = np.repeat(rng.random(n // 15 + 1) < cloud, 15)[:n]
    sun_c = 7.6e-4 * clear * np.where(shade, 0.35, 1.0)
    outside = 8.0 - 4.0 * np.cos(2.0 * np.pi * ((time_s - MIDNIGHT_S) / 86_400.0 - 0.1))
    lids = np.broadcast_to(np.asarray(lid, dtype=float).reshape(-1, 1), (n, 2)).copy()
    air, surface = np.full(2, 6.0), np.full(2, 8.0)
    airs = np.empty((n, 2))
    for i in range(n):
        air, surface = step(
            air, surface, rates=RATES, exchange=air_exchange(RATES, lids[i]), outside_c=outside[i],
            soil_c=9.0, sun_c=sun_c[i], chill_c=0.02,
        )  # fmt: skip
        airs[i] = air
    nan = np.full((n, 2), np.nan)
    rows = PlaceRows(
        time_s=time_s,
        outside_air_c=np.round(outside + rng.normal(0.0, 0.05, n), 2),
        outside_soil_c=np.full(n, 8.0),
        outside_humidity_pct=np.full(n, np.nan),
        air_c=np.round(airs + rng.normal(0.0, 0.05, airs.shape), 2),
        soil_c=np.round(9.0 + rng.normal(0.0, 0.05, airs.shape), 2),
        humidity_pct=nan,
        moisture_pct=nan,
        lid=lids if lid_told else nan,
        cover=nan,
        fresh=np.ones((n, 2), dtype=bool),
    )
    keep = time_s % step_s == 0
    return PlaceRows(**{f.name: getattr(rows, f.name)[keep] for f in fields(PlaceRows)})


@pytest.fixture(scope="session")
def kent():
    """A site with a sun."""
    return KENT


@pytest.fixture(scope="session")
def two_boxes():
    """The boxes of `garden_rows`."""
    return (Box(name="north"), Box(name="lane"))


@pytest.fixture(scope="session")
def garden_rows():
    """Maker of rows; see `_garden_rows`."""
    return _garden_rows


# For the alarm engine: gardens, invented weather and faults.

MONDAY_S = 1_772_409_600
"""2026-03-02T00:00:00Z, a Monday."""


@dataclass
class Said:
    """All outcomes of a run of the alarm engine, joined."""

    state: object
    flags: np.ndarray
    changes: tuple
    notices: tuple
    briefs: tuple
    lids: tuple
    now: tuple

    def kinds(self, event="raised"):
        """Kinds of the alarms with that event, in order."""
        return [c.alarm.kind for c in self.changes if c.event == event]

    def of(self, kind):
        """Changes of one kind."""
        return [c for c in self.changes if c.alarm.kind == kind]


def _run_blocks(state, blocks, news=()):
    """Feeds blocks with the news that falls into each; joins what comes out."""
    outcomes = []
    waiting = sorted(news, key=lambda item: item.time_s)
    for block in blocks:
        due = [item for item in waiting if item.time_s < block.stop_s]
        waiting = waiting[len(due) :]
        state, outcome = advance(state, block, due)
        outcomes.append(outcome)

    def joined(name):
        return tuple(x for o in outcomes for x in getattr(o, name))

    flags = np.concatenate([o.flags for o in outcomes])
    names = ("changes", "notices", "briefs", "lids")
    return Said(state, flags, *(joined(n) for n in names), now=outcomes[-1].now)


@pytest.fixture(scope="session")
def feed():
    return _run_blocks


@pytest.fixture(scope="session")
def garden():
    """Two boxes at 52 N with air and soil probes, the second with two air probes and a lid contact."""
    probes = (
        Probe(id="n-air", box="north", place="air", correction_c=0.25),
        Probe(id="n-soil", box="north", place="soil"),
        Probe(id="l-air", box="lane", place="air"),
        Probe(id="l-air2", box="lane", place="air", every_s=300),
        Probe(id="l-soil", box="lane", place="soil"),
        Probe(id="l-lid", box="lane", place="lid"),
        Probe(id="o-air", box="outside", place="air", every_s=600),
    )
    return Garden(
        site=Site(latitude=52.0, longitude=-7.0, zone="Europe/Dublin"),
        person=Person(leaves=time(8), back=time(17), away_days=frozenset({3})),
        boxes=(Box(name="north"), Box(name="lane")),
        probes=probes,
        sowings=(Sowing(id="1", box="north"), Sowing(id="2", box="lane")),
    )


@pytest.fixture(scope="session")
def lone():
    """One box with one air probe, all defaults, a sowing of unknown crop, sun over 52 N."""
    return Garden(
        site=Site(latitude=52.0, longitude=0.0, zone="Etc/UTC"),
        boxes=(Box(name="north"),),
        probes=(Probe(id="air", box="north", place="air"),),
        sowings=(Sowing(id="1", box="north"),),
    )


@pytest.fixture(scope="session")
def table():
    """Makes a block out of columns: `table(start_s, step_s, {"air": [...]}, flags={(row, id): bits})`."""

    def make(start_s, step_s, columns, *, flags=None):
        values = np.stack([np.asarray(v, dtype=np.float64) for v in columns.values()], axis=1)
        bits = np.zeros(values.shape, dtype=np.uint16)
        for (row, probe), bit in (flags or {}).items():
            bits[row, list(columns).index(probe)] = int(bit)
        return Block(start_s, step_s, tuple(columns), values, bits)

    return make


@pytest.fixture(scope="session")
def live(lone, table):
    """Runs a garden through columns of values, one a minute from noon on; gives all that was said."""

    def make(air, *, garden=None, start_s=MONDAY_S + 12 * 3600, step_s=60, news=(), columns=None, flags=None):
        block = table(start_s, step_s, {"air": air, **(columns or {})}, flags=flags)
        return _run_blocks(begin(garden or lone, foresight=False), [block], news)

    return make


@pytest.fixture(scope="session")
def season(garden):
    """Three invented days with sun, frost, noise and every fault we know, a row a minute."""
    rng = np.random.default_rng(7)
    n = 3 * 1440
    row = np.arange(n)
    hour = row % 1440 / 60.0
    sun = np.clip(np.sin(2 * np.pi * (hour / 24 - 0.25)), 0, None)
    cloud = 0.6 + 0.4 * np.sin(row / 37.0) * np.sin(row / 11.0)
    outside = 3 + 6 * sun * cloud - 4 * (sun == 0) * (row > 1440)
    columns = {
        "n-air": outside + 25 * sun * cloud,
        "n-soil": 7 + 3 * np.roll(sun, 120),
        "l-air": outside + 21 * sun * cloud,
        "l-air2": outside + 21.5 * sun * cloud,
        "l-soil": 6 + 3 * np.roll(sun, 150),
        "l-lid": np.where((hour > 11) & (hour < 15), 0.3, 0.0),
        "o-air": outside,
    }
    values = np.stack(list(columns.values()), axis=1)
    warm = [0, 1, 2, 3, 4, 6]
    values[:, warm] = np.round((values[:, warm] + rng.normal(0, 0.06, (n, 6))) * 16) / 16
    values[row % 5 != 2, 3] = np.nan
    values[row % 10 != 4, 6] = np.nan
    values[rng.random(values.shape) < 0.02] = np.nan
    flags = np.zeros(values.shape, dtype=np.uint16)
    values[500, 0], flags[500, 0] = 85.0, int(Flag.POWER_ON)
    values[2000:2002, 2] = -40.0  # leaps down and back
    values[2300, 0] = 140.0  # cannot be
    values[2600:2700, 2:4] = np.nan  # lane's air falls silent
    values[1900:2400, 1] = 9.5  # soil rests for a while
    values[3300:3840, 0] = 21.19  # stuck through the third day
    return Block(MONDAY_S, 60, tuple(columns), values, flags)
