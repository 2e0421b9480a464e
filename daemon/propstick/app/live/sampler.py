"""One grid row from all buses and the inbox, with a deadline.

Each bus has a thread of its own that does nothing but read it. A bus that hangs costs its own probes,
never the row: what it brings later goes into the next row, or is stored as late.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Sequence
from dataclasses import replace

from propstick.blocks import Flag
from propstick.errors import ProbeError
from propstick.ports import Inbox, ProbeBus
from propstick.records import Reading
from propstick.times import EARLIEST_S, row_of_reading

log = logging.getLogger(__name__)

AHEAD_ROWS = 2
"""A reading stamped this many rows ahead of now comes from a node whose clock is wrong."""


class BusReader:
    """Reads one bus on request, in a thread of its own."""

    def __init__(self, bus: ProbeBus) -> None:
        self.bus = bus
        self._wanted: queue.SimpleQueue[int | None] = queue.SimpleQueue()
        self._done: queue.SimpleQueue[tuple[Reading, ...]] = queue.SimpleQueue()
        self._busy = threading.Event()
        self._thread = threading.Thread(target=self._work, name=f"bus {bus.name}", daemon=True)
        self._thread.start()

    def ask(self, row_s: int) -> bool:
        """Starts a read for the row; False while the last one has not come back."""
        if self._busy.is_set():
            return False
        self._busy.set()
        self._wanted.put(row_s)
        return True

    def answers(self, timeout_s: float) -> tuple[Reading, ...]:
        """What has been read and not yet taken; waits for a read under way."""
        found: list[Reading] = []
        try:
            if timeout_s > 0 and self._busy.is_set():
                found.extend(self._done.get(timeout=timeout_s))
            while True:
                found.extend(self._done.get_nowait())
        except queue.Empty:
            return tuple(found)

    def stop(self) -> None:
        """Lets the thread end after the read under way."""
        self._wanted.put(None)

    def _work(self) -> None:
        is_lost = False
        while (row_s := self._wanted.get()) is not None:
            readings: tuple[Reading, ...] = ()
            was_lost, is_lost = is_lost, False
            try:
                readings = self.bus.read(row_s)
            except ProbeError as error:
                is_lost = True
                if not was_lost:
                    log.warning("bus-lost bus=%s reason=%r", self.bus.name, str(error))
            except Exception:  # a fault in one bus must not end the watch on the others
                log.exception("bus-fault bus=%s", self.bus.name)
            # Not busy before the answer is there: `answers` would otherwise miss it.
            self._done.put(readings)
            self._busy.clear()


class Sampler:
    """Collects what belongs to a row.

    Args:
        buses: Wired probes, one bus a master.
        inboxes: Wireless probes.
        step_s: Seconds from row to row.
        deadline_s: How long a row may wait for its buses.
    """

    def __init__(
        self,
        buses: Sequence[ProbeBus],
        inboxes: Sequence[Inbox] = (),
        *,
        step_s: int,
        deadline_s: float = 10.0,
    ) -> None:
        self._readers = [BusReader(bus) for bus in buses]
        self._inboxes = tuple(inboxes)
        self._step_s = step_s
        self._deadline_s = deadline_s
        self._early: list[Reading] = []

    def row(self, row_s: int) -> tuple[Reading, ...]:
        """Every reading that is new at this row, flagged `late`, `clock` or for the next row.

        A reading whose own row lies ahead is kept until then.
        """
        give_up_at = time.monotonic() + self._deadline_s
        asked = [(reader, reader.ask(row_s)) for reader in self._readers]
        arrived = self._early
        for inbox in self._inboxes:
            arrived = [*arrived, *inbox.take()]
        for reader, is_under_way in asked:
            # A bus still hanging in an earlier read is not waited for again, only asked what it has.
            left_s = max(0.0, give_up_at - time.monotonic()) if is_under_way else 0.0
            arrived = [*arrived, *reader.answers(left_s)]
        placed, self._early = _place(arrived, row_s, self._step_s)
        return tuple(placed)

    def committed(self) -> None:
        """The last row is stored. While readings wait for their own row, their messages stay unanswered."""
        if self._early:
            return
        for inbox in self._inboxes:
            inbox.committed()

    def stop(self) -> None:
        """Ends the reader threads."""
        for reader in self._readers:
            reader.stop()


def _place(arrived: Sequence[Reading], row_s: int, step_s: int) -> tuple[list[Reading], list[Reading]]:
    """Splits readings into those of this row (flagged as need be) and those still ahead of it."""
    now: list[Reading] = []
    ahead: list[Reading] = []
    for reading in arrived:
        own_row_s = row_of_reading(reading.time_ms, step_s)
        if reading.time_ms < EARLIEST_S * 1000 or own_row_s > row_s + AHEAD_ROWS * step_s:
            now.append(replace(reading, flags=reading.flags | int(Flag.CLOCK)))
        elif own_row_s > row_s:
            ahead.append(reading)
        elif own_row_s == row_s:
            now.append(reading)
        elif own_row_s == row_s - step_s:
            now.append(replace(reading, flags=reading.flags | int(Flag.NEXT_ROW)))
        else:
            now.append(replace(reading, flags=reading.flags | int(Flag.LATE)))
    return now, ahead
