"""Records of a box's last telling days or nights, what is usual in them, and verdicts that hold on."""

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
    """Median of the record, (b,); NaN where there is none."""
    return known_quantile(record, 0.5)


def known_quantile(values: FloatArray, share: float) -> FloatArray:
    """numpy's nanquantile along the first axis, all at once: that one loops over the others."""
    ordered = np.sort(values, axis=0)  # NaN comes last
    place = share * ((~np.isnan(ordered)).sum(axis=0) - 1)
    below = np.floor(place).astype(np.int64)[None]
    low = np.take_along_axis(ordered, below, axis=0)[0]
    high = np.take_along_axis(ordered, np.ceil(place).astype(np.int64)[None], axis=0)[0]
    return low + (place - below[0]) * (high - low)


def is_met(record: FloatArray) -> BoolArray:
    """Which boxes have been watched long enough, (b,)."""
    return (~np.isnan(record)).sum(axis=0) >= KNOWN_DAYS


def held(decided: BoolArray, verdict: BoolArray, before: BoolArray) -> BoolArray:
    """The last verdict at each row, (n, b): one that was decided there or earlier, else `before`, (b,)."""
    place = np.where(decided, np.arange(1, len(decided) + 1)[:, None], 0)
    latest = np.maximum.accumulate(place, axis=0)
    return np.take_along_axis(np.concatenate([before[None], verdict]), latest, axis=0)
