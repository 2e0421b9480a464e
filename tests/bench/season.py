"""An invented season in a real store: 16 probes, 60 s, as many days as asked for."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from propstick.edges.database import open_store
from propstick.edges.readings import ReadingLog
from propstick.edges.store import Store
from propstick.garden import Box, Garden, Person, Probe, Site
from propstick.grid import ReadingColumns

START_S = 1_772_323_200  # 2026-03-01T00:00:00Z
STEP_S = 60


def garden(boxes: int = 7) -> Garden:
    """`boxes` boxes with air and soil, and the same outside."""
    names = [f"box{k}" for k in range(boxes)]
    places = [(name, place) for name in ("outside", *names) for place in ("air", "soil")]
    return Garden(
        site=Site(name="bench", latitude=51.0, longitude=0.0, zone="Europe/London"),
        person=Person(),
        boxes=tuple(Box(name=name) for name in names),
        probes=tuple(Probe(id=f"28-{k:012x}", box=box, place=place) for k, (box, place) in enumerate(places)),
    )


def values(days: int, probes: int) -> np.ndarray:
    """Daily waves with noise, quantised as a 12-bit probe does; shape (rows, probes)."""
    rng = np.random.default_rng(3)
    minutes = np.arange(days * 1440)
    hour = (minutes % 1440) / 60
    day_level = np.repeat(rng.normal(0, 3, days), 1440)[:, None]
    sun = np.clip(np.sin((hour - 6) / 12 * np.pi), 0, None)[:, None]
    strength = np.repeat(rng.uniform(0.2, 1.0, days), 1440)[:, None]
    air = np.arange(probes) % 2 == 0
    inside = np.arange(probes) >= 2
    wave = sun * strength * np.where(inside, 18, 9) * np.where(air, 1.0, 0.4)
    noise = rng.normal(0, 0.05, (days * 1440, probes))
    return np.round((6 + day_level + wave + noise) * 16) / 16


def stored(folder: Path, days: int, *, boxes: int = 7) -> tuple[Store, ReadingLog, Garden]:
    """The season in a fresh SQLite file."""
    plot = garden(boxes)
    ids = tuple(p.id for p in plot.probes)
    store = open_store(f"sqlite:///{folder / 'season.sqlite'}")
    log = ReadingLog(store, plot.site.name)
    table = np.round(values(days, len(ids)), 2)
    time_ms = (START_S + STEP_S * (1 + np.arange(days * 1440))) * 1000
    log.bulk_add(
        ReadingColumns(
            probes=ids,
            time_ms=np.repeat(time_ms, len(ids)),
            column=np.tile(np.arange(len(ids), dtype=np.int32), days * 1440),
            raw=table.ravel(),
            flags=np.zeros(table.size, dtype=np.uint16),
        )
    )
    return store, log, plot
