"""Fakes of every port, kept to the same contract as the real parts (`tests/edges/test_contracts.py`).

They ship with the program: whoever adds a probe type, a channel or a rule can run the whole watch
without a Pi, a broker or a network, on a clock moved by hand.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from propstick.errors import ProbeError
from propstick.ports import Delivery
from propstick.records import Notice, Reading


class HandClock:
    """A clock that moves only when told: by `advance`, or by somebody waiting on it.

    Args:
        wall_s: UTC seconds it shows at first.
        monotonic_s: The other clock's start; no relation to the first.
        stop_after_s: Wakes itself for good after so many seconds, so that a loop on it ends.
    """

    def __init__(
        self, wall_s: float = 1_784_000_000, *, monotonic_s: float = 1000.0, stop_after_s: float | None = None
    ) -> None:
        self._wall_s = float(wall_s)
        self._monotonic_s = float(monotonic_s)
        self._stop_at_s = None if stop_after_s is None else self._monotonic_s + stop_after_s
        self._settings: list[tuple[float, float]] = []
        self._woken = False
        self.waits: list[float] = []

    def wall_s(self) -> float:
        return self._wall_s

    def monotonic_s(self) -> float:
        return self._monotonic_s

    def wait(self, seconds: float) -> bool:
        """Passes the time at once. True if woken, by hand or because `stop_after_s` is over."""
        self.waits.append(seconds)
        if not self._woken:
            self.advance(max(0.0, seconds))
        return self._woken

    def wake(self) -> None:
        self._woken = True

    def advance(self, seconds: float) -> None:
        """Lets time pass on both clocks; stops short where `stop_after_s` ends."""
        until_s = self._monotonic_s + seconds
        if self._stop_at_s is not None and until_s >= self._stop_at_s:
            until_s = max(self._monotonic_s, self._stop_at_s)
            self._woken = True
        self._wall_s += until_s - self._monotonic_s
        self._monotonic_s = until_s
        while self._settings and self._settings[0][0] <= until_s:
            self._wall_s += self._settings.pop(0)[1]

    def set_wall(self, wall_s: float) -> None:
        """Somebody sets the wall clock; the monotonic one does not care."""
        self._wall_s = float(wall_s)

    def plan_setting(self, after_s: float, by_s: float) -> None:
        """The wall clock will be moved by `by_s` once `after_s` seconds have passed from now."""
        self._settings.append((self._monotonic_s + after_s, by_s))
        self._settings.sort()


class FakeBus:
    """Probes whose values are set by hand.

    Attributes:
        values: Probe → value; None: it answers with nothing that is a number. Absent: it is silent.
        flags: Probe → `Flag` bits of its readings.
        complaint: What `trouble` says.
        is_gone: `read` raises `ProbeError`.
        hangs: While clear, `read` does not come back.
        source: Called with the row before each read; what it returns replaces `values`.
    """

    def __init__(
        self,
        name: str = "bus",
        values: Mapping[str, float | None] | None = None,
        *,
        source: Callable[[int], Mapping[str, float | None]] | None = None,
    ) -> None:
        self.name = name
        self.values: dict[str, float | None] = dict(values or {})
        self.flags: dict[str, int] = {}
        self.source = source
        self.complaint = ""
        self.is_gone = False
        self.hangs = threading.Event()
        self.hangs.set()
        self.rows: list[int] = []

    def probes(self) -> tuple[str, ...]:
        return tuple(sorted(self.values))

    def read(self, row_s: int) -> tuple[Reading, ...]:
        self.hangs.wait()
        self.rows.append(row_s)
        if self.is_gone:
            raise ProbeError(f"1-wire bus {self.name}: gone")
        if self.source is not None:
            self.values = dict(self.source(row_s))
        return tuple(
            Reading(probe, row_s * 1000, value, self.flags.get(probe, 0))
            for probe, value in sorted(self.values.items())
        )

    def trouble(self) -> str:
        return self.complaint


class FakeChannel:
    """Takes every notice, unless `answers` holds other results: each is used once, in order."""

    def __init__(self, name: str = "phone", answers: Sequence[Delivery] = ()) -> None:
        self.name = name
        self.answers: deque[Delivery] = deque(answers)
        self.tried: list[Notice] = []
        self.sent: list[tuple[Notice, str | None]] = []

    def send(self, notice: Notice, *, link: str | None = None) -> Delivery:
        self.tried.append(notice)
        result = self.answers.popleft() if self.answers else Delivery(ok=True)
        if result.ok:
            self.sent.append((notice, link))
        return result


class FakeBroker:
    """A broker in memory: inbox, retained topics and remote requests.

    What was taken and not `committed` comes again to the next life (`reborn`), as a broker redelivers
    what was not acknowledged.
    """

    def __init__(self) -> None:
        self._waiting: list[Reading] = []
        self._taken: list[Reading] = []
        self._requests: list[tuple[str, dict[str, Any]]] = []
        self.retained: dict[str, str] = {}
        self.published: list[tuple[str, str]] = []
        self._strays: frozenset[str] = frozenset()
        self.is_up = True

    def put(self, *readings: Reading) -> None:
        """Readings arrive."""
        self._waiting.extend(readings)

    def ask(self, kind: str, body: Mapping[str, Any]) -> None:
        """Somebody asks for something from afar."""
        self._requests.append((kind, dict(body)))

    def take(self) -> tuple[Reading, ...]:
        taken, self._waiting = tuple(self._waiting), []
        self._taken.extend(taken)
        return taken

    def committed(self) -> None:
        self._taken.clear()

    def reborn(self) -> None:
        """The watch died and is back."""
        self._waiting = self._taken + self._waiting
        self._taken = []
        self._strays = frozenset(topic for topic in self.retained if topic.startswith("alarms/"))

    def take_requests(self) -> tuple[tuple[str, dict[str, Any]], ...]:
        taken, self._requests = tuple(self._requests), []
        return taken

    def publish(self, topic: str, payload: str, *, retain: bool = True) -> bool:
        if not self.is_up:
            return False
        self.published.append((topic, payload))
        if retain and payload:
            self.retained[topic] = payload
        elif retain:
            self.retained.pop(topic, None)
        return True

    def strays(self) -> frozenset[str]:
        found, self._strays = self._strays, frozenset()
        return found
