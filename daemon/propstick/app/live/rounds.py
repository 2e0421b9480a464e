"""Runs the watches of many sites in a few threads: each is stepped as its row falls due, in their order.

All rows of a grid fall due at the same second. A thread a site would wake them all at once to stand in
one another's way; so a few are under way at a time, and those of a full house take their turns over
the minute.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Protocol

from propstick.ports import Clock

AT_ONCE = 4
"""Rows under way in one process: while one waits for the disk, another reckons."""
LOOK_EVERY_S = 1.0
"""So soon is a jump of the wall clock seen, and a row that fell due while others were done."""


class Stepped(Protocol):
    """A watch, as far as it is known here."""

    def left_s(self) -> float:
        """Seconds until its next row falls due."""

    def do_due_row(self) -> None:
        """Does that row."""


class Rounds:
    """Steps watches until the clock is woken for good.

    Args:
        clock: Waited on between rows.
        at_once: Rows under way at a time.
    """

    def __init__(self, watches: Sequence[Stepped], clock: Clock, *, at_once: int = AT_ONCE) -> None:
        self._idle: dict[int, Stepped] = dict(enumerate(watches))
        self._stepped: set[int] = set()
        self._clock = clock
        self._at_once = at_once
        self._lock = threading.Lock()
        self._is_ending = False
        self._failures: list[BaseException] = []

    def run(self) -> None:
        """Returns when the clock was woken and the rows under way are done. First rows are done all the same.

        Raises:
            Exception: what a row raised; no other is begun after it.
        """
        with ThreadPoolExecutor(self._at_once, thread_name_prefix="rows") as hands:
            while not self._failures:
                due, next_s = self._due()
                for number, watch in due:
                    hands.submit(self._do, number, watch)
                if self._clock.wait(min(next_s, LOOK_EVERY_S)):
                    break
            self._is_ending = True
        if self._failures:
            raise self._failures[0]

    def _due(self) -> tuple[list[tuple[int, Stepped]], float]:
        """Those to be begun now, in their order, and how long the next one has time."""
        with self._lock:
            left = [(number, watch, watch.left_s()) for number, watch in sorted(self._idle.items())]
            due = [(number, watch) for number, watch, left_s in left if left_s <= 0.0]
            for number, _ in due:
                del self._idle[number]
        return due, min((left_s for *_, left_s in left if left_s > 0.0), default=LOOK_EVERY_S)

    def _do(self, number: int, watch: Stepped) -> None:
        if self._failures or (self._is_ending and number in self._stepped):
            return
        self._stepped.add(number)
        try:
            watch.do_due_row()
        except BaseException as error:
            self._failures.append(error)
            self._clock.wake()
            return
        with self._lock:
            self._idle[number] = watch
