"""What is usual of a box, from its last telling days or nights, and verdicts that hold until the next."""

from __future__ import annotations

import numpy as np

from propstick.units import BoolArray, FloatArray

DAYS = 7
"""So many past telling days, or nights, say what is usual of a box."""
KNOWN_DAYS = 3
"""And so many it is watched before it is judged. Common practice, no source."""
_PRIOR_DAYS = 3


def no_days(boxes: int) -> FloatArray:
    """An empty record, newest last, (7, b); NaN none."""
    return np.full((DAYS, boxes), np.nan)


def put(record: FloatArray, values: FloatArray) -> FloatArray:
    """The record with a value behind it where there is one."""
    moved = np.concatenate([record[1:], values[None]])
    return np.where(np.isnan(values), record, moved)


def usual(record: FloatArray, prior: float) -> FloatArray:
    """Median of the record and of three days like boxes never watched, (b,)."""
    return np.nanmedian(np.concatenate([np.full((_PRIOR_DAYS, record.shape[1]), prior), record]), axis=0)


def is_met(record: FloatArray) -> BoolArray:
    """Which boxes have been watched long enough, (b,)."""
    return (~np.isnan(record)).sum(axis=0) >= KNOWN_DAYS


def held(decided: BoolArray, verdict: BoolArray, before: BoolArray) -> BoolArray:
    """The last verdict at each row, (n, b): one that was decided there or earlier, else `before`, (b,)."""
    place = np.where(decided, np.arange(1, len(decided) + 1)[:, None], 0)
    latest = np.maximum.accumulate(place, axis=0)
    return np.take_along_axis(np.concatenate([before[None], verdict]), latest, axis=0)
