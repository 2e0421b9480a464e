"""Readings on a regular grid: rows of time by columns of probes, and what became of each cell.

Live, a block has one row; in replay it has a day of them. A missing reading is NaN, never an absent
row. Bits in `flags` say why a value must not be used; the value itself is always kept.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntFlag

import numpy as np

from propstick.units import FlagArray, FloatArray, IntArray


class Flag(IntFlag):
    """Why a reading is not used for decisions. The bit values are stored: append, never renumber."""

    RANGE = 1
    POWER_ON = 2
    CHECKSUM = 4
    JUMP = 8
    STUCK = 16
    DUPLICATE = 32
    LATE = 64
    CLOCK = 128
    NOT_A_NUMBER = 256
    STALE_CONVERSION = 512
    """The bus accepted a conversion but never made it; the register still holds the last one."""
    NEXT_ROW = 4096
    """No fault: the reading came after its own row was done and counts in the next one."""

    @property
    def word(self) -> str:
        """The flag's name in files, JSON and messages: `not-a-number`."""
        return (self.name or "").lower().replace("_", "-")


FAULT_BITS = int(
    Flag.RANGE | Flag.POWER_ON | Flag.CHECKSUM | Flag.JUMP | Flag.STUCK | Flag.DUPLICATE
    | Flag.LATE | Flag.CLOCK | Flag.NOT_A_NUMBER | Flag.STALE_CONVERSION
)  # fmt: skip


@dataclass(frozen=True)
class Block:
    """A stretch of the grid.

    Attributes:
        start_s: UTC seconds of the first row; a multiple of `step_s`.
        step_s: Seconds from row to row.
        probes: Probe ids, one per column, p of them.
        values: Raw value as sensed [°C, %, or 0–1], shape (n, p); NaN where no reading fell in the row.
        flags: `Flag` bits set before the engine saw the row, shape (n, p).
    """

    start_s: int
    step_s: int
    probes: tuple[str, ...]
    values: FloatArray
    flags: FlagArray

    def __post_init__(self) -> None:
        assert self.values.shape == self.flags.shape == (len(self), len(self.probes))
        assert self.start_s % self.step_s == 0, "rows lie on multiples of the step"

    def __len__(self) -> int:
        return int(self.values.shape[0])

    @property
    def time_s(self) -> IntArray:
        """UTC seconds of each row, shape (n,)."""
        return self.start_s + self.step_s * np.arange(len(self), dtype=np.int64)

    @property
    def stop_s(self) -> int:
        """UTC seconds of the row that would follow the last one."""
        return self.start_s + self.step_s * len(self)

    def cut(self, first: int, last: int) -> Block:
        """Rows `first` to `last` - 1 as a block of their own (views, not copies)."""
        return replace(
            self,
            start_s=self.start_s + self.step_s * first,
            values=self.values[first:last],
            flags=self.flags[first:last],
        )


@dataclass(frozen=True)
class PlaceRows:
    """What is believed of each place after quality control, on the grid: n rows, b boxes.

    Values are corrected, the median of the good probes of a place, carried for as long as a probe's
    own interval allows. NaN means unknown: silent, flagged, or no probe there.

    Attributes:
        time_s: UTC seconds, shape (n,).
        outside_air_c, outside_soil_c, outside_humidity_pct: Open ground, shape (n,).
        air_c, soil_c, humidity_pct, moisture_pct: Shape (n, b), in the order of the garden's boxes.
        lid: Opening 0–1 where a contact or the person told it, else NaN; shape (n, b).
        cover: 1 with a blanket on top, 0 without, NaN if never told; shape (n, b).
        fresh: True where `air_c` rests on a reading of this very row, shape (n, b).
        doubted: Where something the weather does not explain is at work on the box (a bed just watered, a mat
            nobody told of, a probe that was moved), shape (n, b); nowhere unless said.
    """

    time_s: IntArray
    outside_air_c: FloatArray
    outside_soil_c: FloatArray
    outside_humidity_pct: FloatArray
    air_c: FloatArray
    soil_c: FloatArray
    humidity_pct: FloatArray
    moisture_pct: FloatArray
    lid: FloatArray
    cover: FloatArray
    fresh: np.ndarray
    doubted: np.ndarray = None  # type: ignore[assignment]

    def __post_init__(self) -> None:
        if self.doubted is None:
            object.__setattr__(self, "doubted", np.zeros(self.air_c.shape, dtype=np.bool_))

    def __len__(self) -> int:
        return int(self.time_s.shape[0])

    def cut(self, first: int, last: int) -> PlaceRows:
        """Rows `first` to `last` - 1 (views, not copies)."""
        return self.taken(slice(first, last))

    def taken(self, index: IntArray | slice) -> PlaceRows:
        """Some of the rows."""
        return PlaceRows(**{name: getattr(self, name)[index] for name in self.__dataclass_fields__})
