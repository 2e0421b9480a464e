"""Looking back along time without loops: the last good value before a row, also across blocks.

Everything here gives the same bits however the rows are cut into blocks: a value is only ever picked,
counted or compared, never summed in floating point.
"""

from __future__ import annotations

import numpy as np

from propstick.units import BoolArray, FloatArray, IntArray

NEVER_S = -(1 << 40)
"""A time before all others: nothing was ever read."""


def last_index(present: BoolArray) -> IntArray:
    """Index of the last row at or before each row where `present`; -1 if there is none in this block.

    Args:
        present: Shape (n, k).
    """
    rows = np.arange(present.shape[0])[:, None]
    if present.all():
        return np.broadcast_to(rows, present.shape)
    return np.maximum.accumulate(np.where(present, rows, -1), axis=0)


def picked(values: np.ndarray, index: IntArray, before: np.ndarray) -> np.ndarray:
    """`values[index]` column by column, `before` where the index is -1. Shape (n, k)."""
    taken = np.take_along_axis(values, np.maximum(index, 0), axis=0)
    return np.where(index >= 0, taken, before)


def shifted(index: IntArray) -> IntArray:
    """The index as the row before saw it: -1 in the first row."""
    return np.concatenate([np.full((1, index.shape[1]), -1, dtype=index.dtype), index[:-1]])


def median_of_good(values: FloatArray) -> FloatArray:
    """Median over the last axis of the values that are not NaN; NaN where there is none.

    With two good values their mean, as for every even number.
    """
    if values.shape[1] == 1:
        return values[:, 0]
    ordered = np.sort(values, axis=1)  # NaN sorts last
    count = np.count_nonzero(~np.isnan(values), axis=1)
    rows = np.arange(len(values))
    low = ordered[rows, np.maximum(count - 1, 0) // 2]
    high = ordered[rows, np.where(count > 0, count // 2, 0)]
    return np.where(low == high, low, (low + high) / 2.0)
