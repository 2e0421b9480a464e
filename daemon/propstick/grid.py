"""From single readings to rows: which value each row takes of each probe.

Row t takes each probe's last good value in (t - step, t]. The live sampler, replay of a recording and
replay of the store all go through here, so that they cannot disagree.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from propstick.blocks import FAULT_BITS, Block, Flag
from propstick.units import FlagArray, FloatArray, IntArray

_NEVER_IN_A_ROW = int(Flag.LATE | Flag.DUPLICATE | Flag.CLOCK)


@dataclass(frozen=True)
class ReadingColumns:
    """Many readings as columns, m of them, in the order they arrived.

    Attributes:
        probes: The ids that `column` counts in.
        time_ms: UTC milliseconds, shape (m,).
        column: Index into `probes`, shape (m,).
        raw: As sensed [°C, % or 0–1], NaN where there was no number, shape (m,).
        flags: `Flag` bits, shape (m,).
    """

    probes: tuple[str, ...]
    time_ms: IntArray
    column: NDArray[np.int32]
    raw: FloatArray
    flags: FlagArray

    def __len__(self) -> int:
        return int(self.time_ms.shape[0])

    def taken(self, which: NDArray[Any] | slice) -> ReadingColumns:
        """Some of the readings, by a mask, by index or by slice; the probes stay."""
        return replace(
            self,
            time_ms=self.time_ms[which],
            column=self.column[which],
            raw=self.raw[which],
            flags=self.flags[which],
        )


def rows_of(readings: ReadingColumns, step_s: int) -> IntArray:
    """The grid row [UTC seconds] that takes each reading, shape (m,)."""
    step_ms = step_s * 1000
    row = -(-readings.time_ms // step_ms) * step_s
    return row + np.where(readings.flags & int(Flag.NEXT_ROW), step_s, 0)


def lay(readings: ReadingColumns, *, step_s: int, first_row_s: int, rows: int) -> Block:
    """The rows `first_row_s` … as a block with one column per probe of `readings`.

    Of several readings of a probe in a row's window the last good one by time counts (by arrival
    among equals); if none is good the last bad one is shown with its flags, so that the engine can
    tell a faulty probe from a silent one.
    """
    values = np.full((rows, len(readings.probes)), np.nan)
    flags = np.zeros(values.shape, dtype=np.uint16)
    row_index = (rows_of(readings, step_s) - first_row_s) // step_s
    inside = (row_index >= 0) & (row_index < rows) & ((readings.flags & _NEVER_IN_A_ROW) == 0)
    if not inside.any():
        return Block(first_row_s, step_s, readings.probes, values, flags)
    chosen = np.flatnonzero(inside)
    good = (readings.flags[chosen] & FAULT_BITS) == 0
    # Later assignments win: bad before good, then by time, arrival order kept by the stable sort.
    order = chosen[np.lexsort((readings.time_ms[chosen], good))]
    cell = (row_index[order], readings.column[order])
    values[cell] = readings.raw[order]
    flags[cell] = readings.flags[order] & FAULT_BITS
    return Block(first_row_s, step_s, readings.probes, values, flags)
