"""What a place measured, taken from single readings: the median of its good probes, row by row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.blocks import FAULT_BITS
from propstick.garden import Garden
from propstick.grid import ReadingColumns, rows_of
from propstick.units import FloatArray, IntArray

STILL_FRESH_S = 1800
"""What was read no longer ago than this still counts as now where forecasts are marked."""


@dataclass(frozen=True)
class Series:
    """Rows at which something was measured, in order: UTC seconds and value, shape (m,)."""

    row_s: IntArray
    value: FloatArray

    def __len__(self) -> int:
        return int(self.row_s.shape[0])

    def between(self, start_s: int, end_s: int) -> Series:
        """Rows from `start_s` to `end_s`, both included (views)."""
        first, last = np.searchsorted(self.row_s, [start_s, end_s + 1])
        return Series(self.row_s[first:last], self.value[first:last])

    def last_at(self, time_s: float, *, no_older_than_s: float) -> float:
        """The newest value up to that moment; NaN if there is none, or none young enough."""
        return float(self.carried(np.array([time_s]), no_older_than_s=no_older_than_s)[0])

    def carried(self, time_s: IntArray | FloatArray, *, no_older_than_s: float) -> FloatArray:
        """The newest value up to each moment, NaN where there is none young enough; shape of `time_s`."""
        if not len(self):
            return np.full(np.shape(time_s), np.nan)
        at = np.searchsorted(self.row_s, time_s, side="right") - 1
        held = np.maximum(at, 0)
        young = (at >= 0) & (time_s - self.row_s[held] <= no_older_than_s)
        return np.where(young, self.value[held], np.nan)


def place_series(readings: ReadingColumns, garden: Garden, *, box: str, place: str) -> Series:
    """The believed values of a place, corrected and rounded to 0.01 as the engine has them.

    Args:
        readings: With their final flags, in any order.
    """
    corrections = {probe.id: probe.correction_c for probe in garden.probes_at(box, place)}
    columns = [k for k, name in enumerate(readings.probes) if name in corrections]
    if not columns:
        return Series(np.empty(0, dtype=np.int64), np.empty(0))
    good = np.isin(readings.column, columns) & ((readings.flags & FAULT_BITS) == 0) & ~np.isnan(readings.raw)
    chosen = np.flatnonzero(good)
    added = np.zeros(len(readings.probes))
    added[columns] = [corrections[readings.probes[k]] for k in columns]
    row_s = rows_of(readings, garden.step_s)[chosen]
    value = np.round(readings.raw[chosen] + added[readings.column[chosen]], 2)
    column, time_ms = readings.column[chosen], readings.time_ms[chosen]
    order = np.lexsort((time_ms, column, row_s))
    row_s, column, value = row_s[order], column[order], value[order]
    # Of several readings of a probe in one row the last counts.
    last = np.append((np.diff(row_s) != 0) | (np.diff(column) != 0), True)[: len(row_s)]
    return _medians(row_s[last], value[last])


def _medians(row_s: IntArray, value: FloatArray) -> Series:
    order = np.lexsort((value, row_s))
    row_s, value = row_s[order], value[order]
    starts = np.flatnonzero(np.diff(row_s, prepend=row_s[:1] - 1))
    counts = np.diff(np.append(starts, len(row_s)))
    lower, upper = value[starts + (counts - 1) // 2], value[starts + counts // 2]
    return Series(row_s[starts], 0.5 * (lower + upper))
