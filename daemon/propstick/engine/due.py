"""Which rows of a span are worth a step: where something begins, runs out, or may be told.

Leaving the others out gives the same as taking them all, so nothing depends on how rows are cut.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from propstick.engine import briefs, notices
from propstick.engine.board import Board
from propstick.engine.conditions import Condition
from propstick.engine.desk import Desk
from propstick.engine.evidence import Evidence
from propstick.engine.outlook import Outlook
from propstick.engine.schedule import Day
from propstick.engine.standing import STALE_S, Standing
from propstick.garden import Garden
from propstick.units import IntArray


@dataclass(frozen=True)
class Span:
    """A stretch of rows within one local date and under one garden.

    Attributes:
        before_s: The row before the first.
        views: What briefs and notices see of the boxes at a row.
        soon: Boxes on their way to their heat limit at a row: name, air, time they would pass.
        last_air_c: The last good air of a box as of a row, even if silent since.
        lid_rows: Rows at which a lid contact showed a change.
    """

    garden: Garden
    day: Day
    time_s: IntArray
    step_s: int
    before_s: int
    conditions: Sequence[Condition]
    outlook: Outlook
    views: Callable[[int], Mapping[str, briefs.BoxView]]
    outside_c: Callable[[int], float]
    soon: Callable[[int], Sequence[tuple[str, float, float]]]
    last_air_c: Callable[[int, str], float]
    lid_rows: tuple[int, ...] = ()


class DueRows:
    """Finds the next row to step to, as the alarms stand."""

    def __init__(self, span: Span, board: Board, evidence: Evidence) -> None:
        self._span, self._board, self._evidence = span, board, evidence
        n = len(span.time_s)
        fixed = {0, *evidence.events, *span.outlook.briefs, *span.outlook.frost_rows, *span.lid_rows}
        fixed |= {k for moment in span.day.moments() if (k := self._row_at(moment)) < n}
        self._fixed = sorted(fixed, reverse=True)

    def after(self, i: int, desk: Desk) -> int | None:
        """The next row later than `i`; None if there is none in the span."""
        while self._fixed and self._fixed[-1] <= i:
            self._fixed.pop()
        n = len(self._span.time_s)
        following = min([self._fixed[-1] if self._fixed else n, *self._running_out(i, desk)])
        return following if following < n else None

    def delay_s(self, standing: Standing) -> int | None:
        """When the on- or off-delay is met, UTC seconds; None if none runs."""
        delays = self._evidence.delays_s(standing.key)
        if delays is None:
            return None
        if not standing.active:
            return None if standing.begun_s is None else standing.begun_s + delays[0]
        return None if standing.clear_s is None else standing.clear_s + standing.off_delay_s(delays[1])

    def _running_out(self, i: int, desk: Desk) -> Iterator[int]:
        """Rows later than `i` at which a delay runs out."""
        for key in self._board.live:
            standing = self._board[key]
            due_s = self.delay_s(standing)
            if due_s is not None:
                yield self._evidence.known_row(key, max(i + 1, self._row_at(due_s)))
            for due_s in self._by_the_clock(standing):
                k = self._row_at(due_s)
                if k > i:
                    yield k
            if standing.kind == "frost" and standing.told_s is None and standing.active:
                bound_c = notices.waking_c(standing, desk)
                if bound_c is not None:
                    yield self._evidence.low_row(key, bound_c, i + 1)
                woken_until_s = notices.woken_until_s(desk)
                if woken_until_s is not None and (k := self._row_at(woken_until_s)) > i:
                    yield k

    def _by_the_clock(self, standing: Standing) -> Iterator[int]:
        if standing.alarm is None:
            return
        if standing.state == "shelved" and standing.alarm.shelved_until_s is not None:
            yield standing.alarm.shelved_until_s
        if standing.active and not standing.stale:
            yield standing.alarm.raised_s + STALE_S
        if standing.foretold_s is not None:
            yield notices.foretold_until_s(standing, self._span.garden)
        escalation = notices.escalation_due_s(standing, self._span.garden)
        if escalation is not None:
            yield escalation

    def _row_at(self, time_s: int) -> int:
        """Index of the first row at or after a time, not before the first."""
        return max(0, -(-(time_s - int(self._span.time_s[0])) // self._span.step_s))
