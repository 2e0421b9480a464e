"""Recordings of the measured data, as rows on a grid of five minutes."""

from __future__ import annotations

import csv
import gzip
from datetime import datetime
from pathlib import Path

import numpy as np

from propstick.blocks import PlaceRows
from propstick.garden import Site
from propstick.units import FloatArray


def measured(folder: Path, name: str, *, site: Site) -> PlaceRows:
    """A recording of the measured data on a grid of five minutes; values carried for two of its steps."""
    with gzip.open(folder / f"{name}.csv.gz", "rt") as lines:
        table = list(csv.reader(lines))
    names, body = table[0][1:], table[1:]
    at_s = np.array([int(datetime.fromisoformat(row[0]).timestamp()) for row in body])
    values = np.array([[float(cell) if cell else np.nan for cell in row[1:]] for row in body])
    step_s = int(np.median(np.diff(at_s)))
    time_s = np.arange(at_s[0] // 300 * 300 + 300, at_s[-1], 300, dtype=np.int64)

    def column(name: str) -> FloatArray:
        if name not in names:
            return np.full(len(time_s), np.nan)
        known = ~np.isnan(values[:, names.index(name)])
        times, cells = at_s[known], values[known, names.index(name)]
        last = np.searchsorted(times, time_s, side="right") - 1
        age = time_s - times[np.maximum(last, 0)]
        limit = 2 * (step_s if name.endswith("air") else 10_800)
        return np.where((last >= 0) & (age <= limit), cells[np.maximum(last, 0)], np.nan)

    boxes = sorted({n.split(".")[0] for n in names if n.endswith(".air")} - {"outside"})
    wide = np.full((len(time_s), len(boxes)), np.nan)

    def stacked(place: str) -> FloatArray:
        return np.stack([column(f"{box}.{place}") for box in boxes], axis=1) if boxes else wide

    outside = column("outside.air")
    return PlaceRows(
        time_s, outside, column("outside.soil"), np.full(len(time_s), np.nan),
        stacked("air"), stacked("soil"), wide, wide, wide, wide, ~np.isnan(wide),
    )  # fmt: skip


MEASURED = {
    "toolik_block3_2023-24": Site(latitude=68.62, longitude=-149.61, zone="America/Anchorage"),
    "toolik_block1_2025": Site(latitude=68.62, longitude=-149.61, zone="America/Anchorage"),
    "rmbl_gna_2018": Site(latitude=38.96, longitude=-106.99, zone="America/Denver"),
    "davos_2013-17": Site(latitude=46.815, longitude=9.856, zone="Europe/Zurich"),
}
