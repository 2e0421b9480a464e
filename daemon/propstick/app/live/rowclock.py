"""Which row is next, and waiting for it: the 60 s grid on a clock that cannot be trusted.

Rows must only ever go forward, whatever the machine's wall clock does: a Pi without a clock chip
boots in 1970, a time server sets it forward by a month or back by an hour. So the grid runs on the
monotonic clock and is *compared* with the wall clock at every row:

- wall ahead of the grid: the rows in between did not happen (suspend, a long stall, a first time
  set). They are skipped, and the engine sees them as rows without readings.
- wall behind the grid: the rows already done cannot be done again. The grid goes on from the last
  row, a quarter slower, until the wall clock has caught up; nothing is ever unwatched.
- wall before the last stored row, or before this program was made: the clock is unset. The grid goes
  on from the last stored row as if no time had passed since, and `clock-unset` stands.
"""

from __future__ import annotations

from dataclasses import dataclass

from propstick.ports import Clock
from propstick.times import row_at_or_before

RELEASED_S = 1_767_225_600
"""2026-01-01. No honest clock reads earlier than the year the program was written in."""
SLOWED = 1.25
"""How much longer a row lasts while the wall clock is behind: an hour is made up in four."""
LATE_S = 600
"""So long without a row, and the watch calls itself late: the silence the design allows a probe."""


@dataclass(frozen=True)
class Row:
    """A row to be done now.

    Attributes:
        time_s: The row, UTC seconds on the grid; always later than the one before.
        skipped: Rows between the one before and this that were never done.
        behind_s: Seconds by which the wall clock is behind the grid (0 if it is not).
        is_set: False while the wall clock cannot be believed.
    """

    time_s: int
    skipped: int
    behind_s: float
    is_set: bool


class RowClock:
    """Waits for rows, one after another.

    Args:
        clock: Wall and monotonic time.
        step_s: Seconds from row to row.
        last_row_s: The newest row in the store, None for a fresh one.
    """

    def __init__(self, clock: Clock, *, step_s: int, last_row_s: int | None) -> None:
        self._clock = clock
        self._step_s = step_s
        self._last_row_s = last_row_s
        self._due_at = clock.monotonic_s()
        """Monotonic time at which the next row falls due if the wall clock has nothing to add."""
        if last_row_s is not None:
            self._plan(last_row_s, clock.wall_s())

    def next_row(self) -> Row | None:
        """Waits for the next row; None once the clock was woken for good (the program stops)."""
        return self.row() if self._wait_until_due() else None

    def left_s(self) -> float:
        """Seconds until the next row falls due; 0 once it is, or the wall clock has jumped past it."""
        left_s = max(0.0, self._due_at - self._clock.monotonic_s())
        return 0.0 if left_s and self._has_jumped() else left_s

    def row(self) -> Row:
        """The row that is due now."""
        wall_s = self._clock.wall_s()
        floor_s = max(RELEASED_S, self._last_row_s or 0)
        step_s = self._step_s
        is_set = wall_s >= RELEASED_S and wall_s > (self._last_row_s or 0) - step_s / 2
        wall_row_s = row_at_or_before(wall_s, step_s)
        if self._last_row_s is None:
            row_s = wall_row_s if is_set else row_at_or_before(floor_s, step_s) + step_s
        else:
            row_s = max(self._last_row_s + step_s, wall_row_s)
        skipped = 0 if self._last_row_s is None else (row_s - self._last_row_s) // step_s - 1
        behind_s = max(0.0, row_s - wall_s) if row_s - wall_s > step_s else 0.0
        self._last_row_s = row_s
        self._plan(row_s, wall_s)
        return Row(row_s, skipped, behind_s, is_set)

    def _plan(self, row_s: int, wall_s: float) -> None:
        """Sets when the row after `row_s` falls due on the monotonic clock."""
        wait_s = row_s + self._step_s - wall_s
        self._due_at = self._clock.monotonic_s() + min(wait_s, self._step_s * SLOWED)

    def _wait_until_due(self) -> bool:
        """Waits in pieces of at most one step, so that a jump of the wall clock is seen soon."""
        while (left_s := self._due_at - self._clock.monotonic_s()) > 0:
            if self._clock.wait(min(left_s, self._step_s)):
                return False
            if self._has_jumped():
                return True
        return True

    def _has_jumped(self) -> bool:
        return self._last_row_s is not None and self._wall_row_s() > self._last_row_s + self._step_s

    def _wall_row_s(self) -> int:
        return row_at_or_before(self._clock.wall_s(), self._step_s)


class BelievedTime:
    """UTC seconds as the rows count them, between rows too: goes on while the wall clock is unset."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._row: tuple[int, float] | None = None

    def on_row(self, row_s: int, *_: object) -> None:
        """A row was done."""
        self._row = (row_s, self._clock.monotonic_s())

    def __call__(self) -> float:
        """UTC seconds now: the last row's, and what has passed since."""
        if self._row is None:
            return self._clock.wall_s()
        row_s, at = self._row
        return row_s + (self._clock.monotonic_s() - at)
