"""Is the soil probe still in the soil? A probe that swings with the air from day to day is not.

A day's swing in the ground shrinks with depth: at sowing depth it is a third of the air's, at 10 cm a
tenth to a quarter (measured: 0.1 to 0.42 over months in a tunnel's bed, under 0.4 in tundra soil); a
probe that was lifted out showed 0.9 to 1.2 of it, a broken one three times as much.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from propstick.blocks import PlaceRows
from propstick.garden import OUTSIDE, Garden
from propstick.units import BoolArray, FloatArray, IntArray

FOLLOWS = 0.75
"""From this share of the air's daily swing on, a probe is not in the soil."""
OPEN_FOLLOWS = 1.25
"""The same in the open, where bare soil in the sun swings nearly as far as the air. Common practice."""
AS_COLD_C, AS_COLD_SHARE = 1.5, 0.12
SWING_C = 8.0
"""A day on which the air swings less tells nothing."""
DAYS = 2
"""So many telling days in a row must agree."""


@dataclass(frozen=True)
class SoilWatch:
    """Today's extremes of each box and of the open ground (last), and how many days the soil followed.

    Attributes:
        grounds: Names, g of them.
        low, high: Air (row 0) and soil (row 1) since local midnight, shape (2, g); NaN before a reading.
        days: Telling days in a row on which the soil followed the air, shape (g,).
    """

    grounds: tuple[str, ...]
    day: date | None
    low: FloatArray
    high: FloatArray
    days: IntArray

    @property
    def follows(self) -> BoolArray:
        """Where the soil probe is taken to be out of the soil, shape (g,)."""
        return self.days >= DAYS


def new_watch(grounds: tuple[str, ...]) -> SoilWatch:
    """Nothing seen yet."""
    blank = np.full((2, len(grounds)), np.nan)
    return SoilWatch(grounds, None, blank, blank.copy(), np.zeros(len(grounds), dtype=np.int64))


def watched(watch: SoilWatch, rows: PlaceRows, *, garden: Garden, day: date) -> SoilWatch:
    """The watch after rows of one local date; a new date first judges the one before."""
    grounds = (*garden.box_names, OUTSIDE)
    if watch.grounds != grounds:
        watch = _moved(watch, grounds)
    if watch.day != day:
        watch = replace(_judged(watch), day=day)
    values = np.stack(
        [
            np.concatenate([rows.air_c, rows.outside_air_c[:, None]], axis=1),
            np.concatenate([rows.soil_c, rows.outside_soil_c[:, None]], axis=1),
        ]
    )
    low = np.fmin(watch.low, np.fmin.reduce(values, axis=1))
    return replace(watch, low=low, high=np.fmax(watch.high, np.fmax.reduce(values, axis=1)))


def _judged(watch: SoilWatch) -> SoilWatch:
    air, soil = watch.high - watch.low
    telling = (air >= SWING_C) & ~np.isnan(soil)
    share = np.full(len(watch.grounds), FOLLOWS)
    share[-1] = OPEN_FOLLOWS
    # Soil keeps the day's warmth: at the coldest hour a buried probe stands well above the air.
    as_cold = watch.low[1] - watch.low[0] <= np.maximum(AS_COLD_C, AS_COLD_SHARE * air)
    days = np.where(telling, np.where((soil >= share * air) & as_cold, watch.days + 1, 0), watch.days)
    fresh = new_watch(watch.grounds)
    return replace(fresh, days=np.minimum(days, DAYS))


def _moved(watch: SoilWatch, grounds: tuple[str, ...]) -> SoilWatch:
    fresh = new_watch(grounds)
    where = {name: g for g, name in enumerate(watch.grounds)}
    for g, name in enumerate(grounds):
        if name in where:
            old = where[name]
            fresh.low[:, g], fresh.high[:, g] = watch.low[:, old], watch.high[:, old]
            fresh.days[g] = watch.days[old]
    return replace(fresh, day=watch.day)
