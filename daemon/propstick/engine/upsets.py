"""What befalls a box that no weather explains, told by its readings alone.

A bed is watered (`watering`), snow or an untold mat keeps the sun off (`dimmed`), an air probe is pressed
into the bed or fell out of the box (`night_share`). While one of these holds, the box is known less surely,
and its rates and its sun are not learnt. All is judged row by row on sums that are carried, on rows a minute
apart at least, so that no cut shows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine import dimmed, night_share, watering
from propstick.engine.dimmed import DimWatch
from propstick.engine.laying import step_used_s
from propstick.engine.night_share import NightWatch
from propstick.engine.schedule import Day
from propstick.engine.watering import WaterWatch
from propstick.units import BoolArray, IntArray


@dataclass(frozen=True)
class UpsetWatch:
    """What is remembered from row to row, for these boxes on rows so far apart [s]."""

    boxes: tuple[str, ...]
    step_s: int
    day: date | None
    water: WaterWatch
    dim: DimWatch
    night: NightWatch


@dataclass(frozen=True)
class Upsets:
    """What was found, row by row, (n, b) each."""

    watered: BoolArray
    dimmed: BoolArray
    as_soil: BoolArray
    as_outside: BoolArray

    @property
    def any(self) -> BoolArray:
        """Where a box does not behave as learnt for one of these reasons."""
        return self.watered | self.dimmed | self.as_soil | self.as_outside


def new_upsets(boxes: tuple[str, ...], step_s: int = 60) -> UpsetWatch:
    """Nothing seen yet."""
    b, used_s = len(boxes), step_used_s(step_s)
    return UpsetWatch(
        boxes, used_s, None, watering.start_water(b, used_s), dimmed.start_dim(b), night_share.start_nights(b)
    )


def look_for_upsets(
    watch: UpsetWatch, rows: PlaceRows, *, boxes: tuple[str, ...], day: Day, step_s: int
) -> tuple[UpsetWatch, Upsets]:
    """The watch after rows of one local date, and what they show."""
    if watch.boxes != boxes or watch.step_s != step_used_s(step_s):
        watch = _refitted(watch, boxes, step_s)
    if watch.day != day.date:
        water, dim = watering.next_day(watch.water), dimmed.next_day(watch.dim)
        watch = replace(watch, day=day.date, water=water, dim=dim)
    index = np.flatnonzero(rows.time_s % watch.step_s == 0)
    seen = rows if len(index) == len(rows) else rows.taken(index)
    water, wet = watering.look_for_water(watch.water, seen, step_s=watch.step_s)
    dim, is_dim = dimmed.look_for_dimming(watch.dim, seen, day=day)
    night, as_soil, as_outside = night_share.look_at_night(
        watch.night, seen, day=day, step_s=watch.step_s, unusual=is_dim
    )  # fmt: skip
    found = Upsets(
        _spread(wet, watch.water.was_wet, rows.time_s, seen.time_s),
        _spread(is_dim, watch.dim.dimmed, rows.time_s, seen.time_s),
        _spread(as_soil, watch.night.as_soil, rows.time_s, seen.time_s),
        _spread(as_outside, watch.night.as_outside, rows.time_s, seen.time_s),
    )
    return replace(watch, water=water, dim=dim, night=night), found


def _spread(found: BoolArray, before: BoolArray, time_s: IntArray, seen_s: IntArray) -> BoolArray:
    """What was found at some rows, for all of them: it holds until the next."""
    if len(seen_s) == len(time_s):
        return found
    return np.concatenate([before[None], found])[np.searchsorted(seen_s, time_s, side="right")]


def _refitted(watch: UpsetWatch, boxes: tuple[str, ...], step_s: int) -> UpsetWatch:
    """The watch for other boxes or another grid: what is known of boxes that remain is kept."""
    fresh = new_upsets(boxes, step_s)
    new = [k for k, name in enumerate(boxes) if name in watch.boxes]
    old = [watch.boxes.index(boxes[k]) for k in new]
    for part, names in (
        ("water", ("jumps_c", "watered_s")),
        ("dim", ("swings", "dimmed")),
        ("night", ("shares", "means", "was_near", "as_soil", "as_outside")),
    ):
        for name in names:
            getattr(getattr(fresh, part), name)[..., new] = getattr(getattr(watch, part), name)[..., old]
    return fresh
