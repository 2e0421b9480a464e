"""Recording CSV to columns of cells, a few thousand lines at a time.

A row is a line: our format has no line breaks inside quotes, so a stray quote mark costs one line and
not the rest of the file, and every message can name the line an editor shows.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np

from propstick.app.recording.clock import UNREADABLE, TimeColumn
from propstick.app.recording.dates import form_of
from propstick.app.recording.header import Header, skipped, split
from propstick.app.recording.problems import Problems, shown
from propstick.units import BoolArray, FloatArray, IntArray

MOST_CELLS = 40_000_000
_LINES_AT_ONCE = 20_000
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d{1,4})?", re.ASCII)


@dataclass(frozen=True)
class Table:
    """The cells of a recording, n rows by p named columns, as they stand in the file.

    Attributes:
        time_ms: UTC milliseconds, `UNREADABLE` where the row had no time, shape (n,).
        values: NaN where empty or not a number, shape (n, p).
        filled: Whether there was anything in the cell, shape (n, p).
        seams: Rows before which the line of names stands again: files put together.
    """

    names: tuple[str, ...]
    time_ms: IntArray
    values: FloatArray
    filled: BoolArray
    seams: tuple[int, ...] = ()


def read_table(lines: Sequence[str], header: Header, *, zone: ZoneInfo | None, problems: Problems) -> Table:
    """Every row below the header.

    Raises:
        InputError: no rows at all; rows that do not fit the header from the first one on; a time without
            an offset while no zone is known; no number in the whole file.
    """
    repeated = lines[header.line - 1]
    form = form_of(_times(lines, header, repeated), problems)
    clock = TimeColumn(zone, problems, form)
    reader = _Rows(header, problems)
    parts, row_lines = [], []
    for numbers, texts in _chunks(lines, header.line, repeated):
        if texts:
            parts.append(reader.cells(numbers, texts, clock))
            row_lines.append(np.array(numbers))
    if not parts:
        raise problems.refusal(
            "only a line of names", expected="rows of readings below it", line=header.line, column="time"
        )
    time_ms, values, filled = (np.concatenate(arrays) for arrays in zip(*parts, strict=True))
    reader.refuse_if_hopeless(time_ms, values, filled)
    again = [k + 1 for k in range(header.line, len(lines)) if lines[k] == repeated]
    seams = np.searchsorted(np.concatenate(row_lines), again)
    return Table(header.cells, time_ms, values, filled, tuple(seams.tolist()))


def _chunks(lines: Sequence[str], after: int, repeated: str) -> Iterator[tuple[list[int], list[str]]]:
    """Numbers and text of the lines below line `after`; blank ones, comments and `repeated` are left out."""
    for first, last in pairwise([*range(after, len(lines), _LINES_AT_ONCE), len(lines)]):
        numbers = [k for k in range(first, last) if not skipped(lines[k]) and lines[k] != repeated]
        yield [k + 1 for k in numbers], [lines[k] for k in numbers]


def _times(lines: Sequence[str], header: Header, repeated: str) -> Iterator[tuple[int, str]]:
    """Line and text of every time, as far as somebody asks."""
    for k in range(header.line, len(lines)):
        if not skipped(lines[k]) and lines[k] != repeated:
            yield k + 1, split(lines[k], header.separator)[0]


class _Rows:
    """Turns lines into cells and remembers the first of what did not fit."""

    def __init__(self, header: Header, problems: Problems) -> None:
        self._header = header
        self._problems = problems
        self._width = len(header.cells) + 1
        self._cells = 0
        self._bad_time: tuple[int, str] | None = None
        self._too_long: tuple[int, int] | None = None
        self._long_rows = 0
        self._first_text: list[tuple[int, str] | None] = [None] * len(header.cells)

    def cells(
        self, numbers: list[int], lines: list[str], clock: TimeColumn
    ) -> tuple[IntArray, FloatArray, BoolArray]:
        """Times, values and whether a cell was filled, for some lines."""
        rows = [split(line, self._header.separator) for line in lines]
        spoilt: list[int] = []
        if set(map(len, rows)) != {self._width}:
            rows, spoilt = self._fitted(numbers, rows)
        self._cells += len(rows) * self._width
        if self._cells > MOST_CELLS:
            raise self._problems.refusal(
                f"more than {MOST_CELLS:,} cells", expected="a shorter recording", line=numbers[0]
            )
        times, *columns = zip(*rows, strict=True)
        time_ms = clock.read(times, numbers)
        unreadable = np.flatnonzero(time_ms == UNREADABLE)
        if unreadable.size and self._bad_time is None:
            self._bad_time = numbers[unreadable[0]], times[unreadable[0]]
        values = np.empty((len(rows), len(columns)))
        filled = np.empty(values.shape, dtype=bool)
        for k, column in enumerate(columns):
            values[:, k], filled[:, k] = self._numbers(k, column, numbers)
        values[spoilt] = np.nan
        return time_ms, values, filled

    def _fitted(self, numbers: list[int], rows: list[list[str]]) -> tuple[list[list[str]], list[int]]:
        """Rows made as wide as the header, and which of them had too much in them."""
        kept: list[list[str]] = []
        spoilt: list[int] = []
        for number, row in zip(numbers, rows, strict=True):
            while len(row) > self._width and not row[-1].strip("\0 \t\r"):
                row.pop()
            if len(row) < self._width:
                self._problems.note("fewer cells than names; what is missing counts as empty", number)
                row = row + [""] * (self._width - len(row))
            elif len(row) > self._width:
                self._problems.note("more cells than names; none of that line is used", number)
                self._too_long = self._too_long or (number, len(row))
                self._long_rows += 1
                spoilt.append(len(kept))
                row = row[: self._width]
            kept.append(row)
        return kept, spoilt

    def _numbers(self, k: int, cells: Sequence[str], numbers: Sequence[int]) -> tuple[FloatArray, BoolArray]:
        try:
            if "_" in "".join(cells):  # Python reads 1_0 as ten
                raise ValueError
            values = np.array([float(cell) if cell else np.nan for cell in cells])
        except ValueError:
            return self._careful_numbers(k, cells, numbers)
        odd = np.flatnonzero(~np.isfinite(values))
        filled = np.ones(len(cells), dtype=bool)
        for row in odd.tolist():
            if cells[row]:
                self._note_text(k, numbers[row], cells[row])
                values[row] = np.nan
            else:
                filled[row] = False
        return values, filled

    def _careful_numbers(
        self, k: int, cells: Sequence[str], numbers: Sequence[int]
    ) -> tuple[FloatArray, BoolArray]:
        values = np.full(len(cells), np.nan)
        filled = np.zeros(len(cells), dtype=bool)
        for row, cell in enumerate(cells):
            text = cell.strip().replace("\u2212", "-")  # the typographer's minus
            if not text:
                continue
            filled[row] = True
            if _NUMBER.fullmatch(text):
                if "," in text:
                    self._problems.note("decimal commas")
                value = float(text.replace(",", "."))
                if np.isfinite(value):
                    values[row] = value
                    continue
            self._note_text(k, numbers[row], text)
        return values, filled

    def _note_text(self, k: int, number: int, text: str) -> None:
        if self._first_text[k] is None:
            self._first_text[k] = number, text

    def refuse_if_hopeless(self, time_ms: IntArray, values: FloatArray, filled: BoolArray) -> None:
        """A file in which hardly a row fits is of another form: refused at the first misfit."""
        if self._bad_time and 2 * np.count_nonzero(time_ms == UNREADABLE) > time_ms.size:
            raise self._problems.refusal(
                shown(self._bad_time[1]),
                expected="RFC 3339 such as 2026-03-15T04:40:00Z",
                line=self._bad_time[0],
                column="time",
                hint="write the year first, then month and day, then the clock",
            )
        if self._too_long and 2 * self._long_rows > time_ms.size:
            raise self._problems.refusal(
                f"{self._too_long[1]} cells",
                expected=f"{self._width}, one for each name",
                line=self._too_long[0],
                column=str(self._width + 1),
                hint="decimal commas need semicolons between the cells",
            )
        self._note_columns_of_text(values, filled)
        if filled.any() and np.isnan(values).all():
            k = int(np.flatnonzero(filled.any(axis=0))[0])
            line, text = self._first_text[k] or (self._header.line + 1, "")
            raise self._problems.refusal(
                shown(text), expected="a number", line=line, column=f"{k + 2} ({self._header.cells[k]})"
            )

    def _note_columns_of_text(self, values: FloatArray, filled: BoolArray) -> None:
        """Says which columns hold words for the most part: a count of flags does not."""
        for k, first in enumerate(self._first_text):
            if first is not None and np.isnan(values[filled[:, k], k]).mean() > 0.5:
                self._problems.note(f"{self._header.cells[k]} holds text such as {shown(first[1])}: not used")
