"""What is usual of a box, from its last telling days or nights, and verdicts that hold until the next."""

from __future__ import annotations

import numpy as np

from propstick.units import BoolArray, FloatArray

DAYS = 7
"""So many past telling days, or nights, say what is usual of a box."""
KNOWN_DAYS = 3
"""And so many it is watched before it is judged. Common practice, no source."""


def no_days(boxes: int) -> FloatArray:
    """An empty record, newest last, (7, b); NaN none."""
    return np.full((DAYS, boxes), np.nan)


def put(record: FloatArray, values: FloatArray) -> FloatArray:
    """The record with a value behind it where there is one."""
    moved = np.concatenate([record[1:], values[None]])
    return np.where(np.isnan(values), record, moved)


def usual(record: FloatArray) -> FloatArray:
    """Median of the record, (b,); NaN where there is none. In one go: numpy's own loops over the columns."""
    ordered = np.sort(record, axis=0)  # NaN comes last
    last = np.maximum((~np.isnan(record)).sum(axis=0) - 1, 0)[None]
    low, high = (np.take_along_axis(ordered, at, axis=0)[0] for at in (last // 2, (last + 1) // 2))
    return 0.5 * (low + high)


def is_met(record: FloatArray) -> BoolArray:
    """Which boxes have been watched long enough, (b,)."""
    return (~np.isnan(record)).sum(axis=0) >= KNOWN_DAYS


def held(decided: BoolArray, verdict: BoolArray, before: BoolArray) -> BoolArray:
    """The last verdict at each row, (n, b): one that was decided there or earlier, else `before`, (b,)."""
    place = np.where(decided, np.arange(1, len(decided) + 1)[:, None], 0)
    latest = np.maximum.accumulate(place, axis=0)
    return np.take_along_axis(np.concatenate([before[None], verdict]), latest, axis=0)
