"""The invented garden as the watch meets it: a clock that hurries, and probes that are real files.

Whenever somebody waits on the clock, the simulated minutes in between are lived: weather, boxes, the
person's hands; then each probe's file is written in the kernel's own format.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from propstick.blocks import Flag
from propstick.edges.onewire import WiredBus, find_buses
from propstick.edges.onewire_tree import Tree
from propstick.records import Brief, Notice
from propstick.simulation.scenario import Minute, Scenario

MINUTE_S = 60


class World:
    """A scenario under way, its probes on disk, and what its person has just done."""

    def __init__(self, scenario: Scenario, folder: Path) -> None:
        self.scenario = scenario
        self.tree = Tree(folder)
        self._play = scenario.play()
        self._notices: list[Notice] = []
        self._briefs: list[Brief] = []
        self._moved: list[tuple[str, dict]] = []
        self._lid: np.ndarray | None = None
        self._cover: np.ndarray | None = None
        for probe in scenario.probes:
            self.tree.add(probe.id)

    @property
    def start_s(self) -> int:
        """UTC seconds one minute before the first that can be lived."""
        return self._play.time_s - MINUTE_S

    @property
    def is_over(self) -> bool:
        """Whether the invented weather has run out."""
        return self._play.over

    def live_until(self, time_s: float) -> None:
        """Lives every minute up to a moment."""
        while not self._play.over and self._play.time_s <= time_s:
            minute = self._play.step(self._notices, self._briefs)
            self._notices, self._briefs = [], []
            self._write(minute)
            self._look_at_hands(minute)

    def hear(self, notices: Sequence[Notice], briefs: Sequence[Brief]) -> None:
        """What reached the person's phone; acted on from the next minute."""
        self._notices.extend(notices)
        self._briefs.extend(briefs)

    def take_moves(self) -> list[tuple[str, dict]]:
        """What the person did to lids and covers and told the watch, as (kind, body)."""
        moved, self._moved = self._moved, []
        return moved

    def buses(self) -> tuple[WiredBus, ...]:
        """The bus masters of the tree, as on a Pi."""
        return find_buses(self.tree.path)

    def _write(self, minute: Minute) -> None:
        for k, probe in enumerate(self.scenario.probes):
            value, flags = float(minute.sensed.raw_c[k]), int(minute.sensed.flags[k])
            if flags & Flag.CHECKSUM:
                self.tree.bad_checksum(probe.id)
            elif np.isnan(value):
                self.tree.silence(probe.id)
            elif value == 85.0:
                self.tree.power_on(probe.id)
            else:
                self.tree.set(probe.id, value)

    def _look_at_hands(self, minute: Minute) -> None:
        names = self.scenario.garden.box_names
        for k, box in enumerate(names):
            if self._lid is None or minute.lid[k] != self._lid[k]:
                self._moved.append(("lid", {"box": box, "opening": round(float(minute.lid[k]), 2)}))
            if self._cover is not None and minute.cover[k] != self._cover[k]:
                self._moved.append(("cover", {"box": box, "on": bool(minute.cover[k])}))
        self._lid, self._cover = minute.lid.copy(), minute.cover.copy()


class HurryingClock:
    """A clock on which time runs `speed` times faster, and which lives the world as it goes.

    It moves only while somebody waits on it, so nothing is ever missed however slow the machine.
    """

    def __init__(self, start_s: float, *, speed: float, live: Callable[[float], None]) -> None:
        self._wall_s = float(start_s)
        self._start_s = float(start_s)
        self._speed = speed
        self._live = live
        self._woken = threading.Event()
        self._began = time.monotonic()

    def wall_s(self) -> float:
        """UTC seconds in the invented garden."""
        return self._wall_s

    def monotonic_s(self) -> float:
        """The same clock; nobody sets it."""
        return self._wall_s - self._start_s

    def wait(self, seconds: float) -> bool:
        """Lets so much of the garden's time pass. True once the demonstration is to end."""
        due = self._began + (self.monotonic_s() + seconds) / self._speed
        left = due - time.monotonic()
        if left < -1.0:  # the machine cannot keep up: run as fast as it can, without a debt
            self._began -= left
        if self._woken.wait(max(0.0, left)):
            return True
        self._wall_s += seconds
        self._live(self._wall_s)
        return self._woken.is_set()

    def wake(self) -> None:
        """Ends the demonstration after the row under way."""
        self._woken.set()


class ReadersClock:
    """The garden's time as whoever looks at the store sees it: that of the rows of a moment ago.

    At hundreds of times life a look a second old is minutes old; without this the page would call a
    watch late that is merely quick.
    """

    def __init__(self, start_s: float, *, behind_s: float = 1.5) -> None:
        self._rows: deque[tuple[float, float]] = deque([(0.0, start_s)], maxlen=2000)
        self._behind_s = behind_s
        self._woken = threading.Event()

    def on_row(self, row_s: int, *_: object) -> None:
        """A row is in the store."""
        self._rows.append((time.monotonic(), float(row_s)))

    def wall_s(self) -> float:
        """UTC seconds of the newest row that a reader must have seen."""
        seen_by = time.monotonic() - self._behind_s
        return next((row_s for at, row_s in reversed(self._rows) if at <= seen_by), self._rows[0][1])

    def monotonic_s(self) -> float:
        """Real seconds: a service waits in those."""
        return time.monotonic()

    def wait(self, seconds: float) -> bool:
        """Waits in real time."""
        return self._woken.wait(seconds)

    def wake(self) -> None:
        """Ends every wait."""
        self._woken.set()
