"""The threads that carry notices, for one site or for all sites of a daemon.

A desk is worked by one thread at a time. Between calls every desk is asked now and then whether it has
anything left: a retry that has fallen due, or what another process put into its outbox.
"""

from __future__ import annotations

import logging
import queue
import threading
from typing import Protocol

log = logging.getLogger(__name__)

LOOK_EVERY_S = 30
"""The shortest wait between two tries of a notice (`delivery.RETRY_AFTER_S`)."""


class Desk(Protocol):
    """What a courier works for."""

    def has_work(self) -> bool:
        """Whether a round may find something to do."""

    def work(self) -> None:
        """One round. Never raises."""


class Courier:
    """Works for desks, when called and now and then.

    Args:
        at_once: Desks worked at a time. A channel that hangs keeps one thread for a minute.
    """

    def __init__(self, *, at_once: int) -> None:
        self._at_once = at_once
        self._lock = threading.Lock()
        self._idle = threading.Condition(self._lock)
        self._desks: dict[Desk, None] = {}
        self._lined_up: set[Desk] = set()
        self._called_again: set[Desk] = set()
        self._work: queue.SimpleQueue[Desk | None] = queue.SimpleQueue()
        self._ended = threading.Event()
        self._threads: list[threading.Thread] = []

    def start(self) -> None:
        """Begins, unless it has."""
        with self._lock:
            if self._threads:
                return
            ways = [self._carry] * self._at_once + [self._look]
            self._threads = [threading.Thread(target=way, name="delivery", daemon=True) for way in ways]
        for thread in self._threads:
            thread.start()

    def call(self, desk: Desk) -> None:
        """There is work at the desk; it is done soon, and not twice at a time."""
        with self._lock:
            self._desks[desk] = None
            if desk in self._lined_up:
                self._called_again.add(desk)
            else:
                self._lined_up.add(desk)
                self._work.put(desk)

    def part_from(self, desk: Desk, timeout_s: float) -> None:
        """No more for this desk, once the round under way has ended. The last one ends the threads."""
        with self._lock:
            self._desks.pop(desk, None)
            self._called_again.discard(desk)
            if self._threads:
                self._idle.wait_for(lambda: desk not in self._lined_up, timeout_s)
            if self._desks:
                return
        self._ended.set()
        for _ in range(self._at_once):
            self._work.put(None)

    def _carry(self) -> None:
        while (desk := self._work.get()) is not None:
            desk.work()
            with self._lock:
                if desk in self._called_again:
                    self._called_again.discard(desk)
                    self._work.put(desk)
                else:
                    self._lined_up.discard(desk)
                    self._idle.notify_all()

    def _look(self) -> None:
        while not self._ended.wait(LOOK_EVERY_S):
            for desk in list(self._desks):
                try:
                    if desk.has_work():
                        self.call(desk)
                except Exception:  # a store that is away; the next look finds it back
                    log.exception("delivery-look-fault")
