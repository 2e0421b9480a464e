"""Which readings of a recording cannot be used: doubled, late, impossible clock, out of range, power-on.

What needs a longer look at a probe (jumps, stuck values) is the engine's; here is what only the file
as a whole can tell.
"""

from __future__ import annotations

from bisect import bisect_right

import numpy as np

from propstick.blocks import Flag
from propstick.times import DAY_S, EARLIEST_S
from propstick.units import BoolArray, FlagArray, FloatArray, IntArray

DAY_MS = DAY_S * 1000
APART_MS = 2 * 365 * DAY_MS
"""A file holds one stretch of time; a small group of rows this far from the rest had a wrong clock."""
SMALL_GROUP = 0.25
"""Largest share of the main stretch that such a group may have."""

POWER_ON_C = 85.0
POWER_ON_REACH_C = 20.0
"""A neighbour this near makes 85.0 °C believable as a temperature."""

RANGES = {"lid": (0.0, 1.0), "cover": (0.0, 1.0), "humidity": (0.0, 105.0), "moisture": (0.0, 100.0)}
"""Accepted values by place. Humidity sensors read a little over 100 % in fog (our choice, no source)."""
FURTHEST = 1e4
"""Beyond this a temperature is no reading at all; the engine knows the probes' narrower ranges."""


OLD_RECORDS_MS = 347_155_200_000
"""1981-01-01. Clocks never set say 1970 or 1980 (Unix, FAT); a whole file after this is an old recording."""


def wrong_clock(time_ms: IntArray, *, in_order: bool) -> BoolArray:
    """Times before 2000, or that the order of the rows shows to be more than a day ahead.

    A file that lies in the 1980s or 1990s for the most part was recorded then, and is taken as it is.

    Args:
        time_ms: Times of the rows as they stand in the file, shape (m,).
        in_order: Whether that order means anything (a CSV) or not (a SenML pack sorted by name).
    """
    wrong = time_ms < EARLIEST_S * 1000
    if 2 * np.count_nonzero(wrong & (time_ms >= OLD_RECORDS_MS)) > time_ms.size:
        wrong = time_ms < OLD_RECORDS_MS
    kept = np.flatnonzero(~wrong)
    if in_order and kept.size and np.any(np.diff(time_ms[kept]) < 0):
        ahead = _ahead_of_their_place(time_ms[kept])
        wrong[kept[ahead]] = True
        kept = kept[~ahead]
    if kept.size:
        wrong[kept[_far_from_the_rest(time_ms[kept])]] = True
    return wrong


def _ahead_of_their_place(time_ms: IntArray) -> BoolArray:
    """Rows more than a day ahead of the next row of the longest run that only moves forward."""
    tails: list[int] = []
    tail_rows: list[int] = []
    before = np.full(time_ms.size, -1, dtype=np.int64)
    for row, value in enumerate(time_ms.tolist()):
        place = bisect_right(tails, value)
        before[row] = tail_rows[place - 1] if place else -1
        if place == len(tails):
            tails.append(value)
            tail_rows.append(row)
        else:
            tails[place] = value
            tail_rows[place] = row
    chain = []
    row = tail_rows[-1]
    while row >= 0:
        chain.append(row)
        row = int(before[row])
    chain_rows = np.array(chain[::-1])
    following = np.searchsorted(chain_rows, np.arange(time_ms.size))
    nearest = time_ms[chain_rows[np.minimum(following, chain_rows.size - 1)]]
    return time_ms > nearest + DAY_MS


def _far_from_the_rest(time_ms: IntArray) -> BoolArray:
    ordered = np.sort(time_ms)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(ordered) > APART_MS) + 1])
    if starts.size == 1:
        return np.zeros(time_ms.size, dtype=bool)
    sizes = np.diff(np.append(starts, ordered.size))
    group = np.searchsorted(ordered[starts], time_ms, side="right") - 1
    return sizes[group] < SMALL_GROUP * sizes.max()


def judged(
    time_ms: IntArray,
    column: IntArray,
    *,
    raw: FloatArray,
    flags: FlagArray,
    places: tuple[str, ...],
    step_s: int,
    in_order: bool,
) -> FlagArray:
    """The flags of readings in arrival order, shape (m,). `flags` holds what the parser set."""
    flags = flags.copy()
    if not len(flags):
        return flags
    _flag_doubles(time_ms, column, flags)
    _flag_late(time_ms, column, flags, step_s=step_s, in_order=in_order)
    for k, place in enumerate(places):
        low, high = RANGES.get(place, (-FURTHEST, FURTHEST))
        mine = np.flatnonzero(column == k)
        outside = (raw[mine] < low) | (raw[mine] > high)
        flags[mine[outside]] |= int(Flag.RANGE)
        if place in ("air", "soil"):
            _flag_power_on(time_ms, raw, flags, mine)
    return flags


def _flag_doubles(time_ms: IntArray, column: IntArray, flags: FlagArray) -> None:
    """The same probe and time again: the first in the file counts."""
    timed = (flags & int(Flag.CLOCK)) == 0
    for k in range(int(column.max()) + 1):
        mine = np.flatnonzero(timed & (column == k))
        order = mine[np.argsort(time_ms[mine], kind="stable")]
        flags[order[1:][np.diff(time_ms[order]) == 0]] |= int(Flag.DUPLICATE)


def _flag_late(time_ms: IntArray, column: IntArray, flags: FlagArray, *, step_s: int, in_order: bool) -> None:
    """Older than the newest before it by more than one grid step; a double is only a double."""
    if in_order and np.all(time_ms[1:] >= time_ms[:-1]):
        return
    usable = np.flatnonzero((flags & int(Flag.CLOCK | Flag.DUPLICATE)) == 0)
    groups = [usable] if in_order else [usable[column[usable] == k] for k in np.unique(column)]
    for rows in groups:
        if rows.size:
            newest = np.maximum.accumulate(time_ms[rows])
            flags[rows[time_ms[rows] < newest - step_s * 1000]] |= int(Flag.LATE)


def _flag_power_on(time_ms: IntArray, raw: FloatArray, flags: FlagArray, mine: IntArray) -> None:
    """Exactly 85.0 °C with no neighbour near it: a DS18B20 that lost power before it converted.

    Source of the value: DS18B20 data sheet (Analog Devices), "Temperature register": +85 °C at power-on.
    """
    suspects = np.abs(raw[mine] - POWER_ON_C) < 1e-6
    if not suspects.any():
        return
    mine = mine[np.argsort(time_ms[mine], kind="stable")]
    suspects = np.abs(raw[mine] - POWER_ON_C) < 1e-6
    sound = np.flatnonzero(~suspects & ~np.isnan(raw[mine]) & (flags[mine] == 0))
    for k in np.flatnonzero(suspects):
        after = np.searchsorted(sound, k)
        neighbours = sound[max(after - 1, 0) : after + 1]
        if not np.any(np.abs(raw[mine[neighbours]] - POWER_ON_C) <= POWER_ON_REACH_C):
            flags[mine[k]] |= int(Flag.POWER_ON)
