"""People who set lids, and wax arms that need none: who may act when, and on what news.

Every person has `decide(t, notices, briefs) -> (lid, cover)`: what stands from minute `t` on, given
what has reached the phone since the last call. Nobody here sees a temperature except the wax arm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from propstick.garden import Person
from propstick.records import Brief, Notice
from propstick.times import local
from propstick.units import FloatArray

PROPPED = 0.1


class Hands(Protocol):
    """Whoever moves lids and covers."""

    def decide(
        self, t: int, notices: Sequence[Notice], briefs: Sequence[Brief]
    ) -> tuple[FloatArray, FloatArray]:
        """Opening 0–1 and cover 0 or 1 of each box from minute `t` on, arrays (b,).

        Called once a minute, in order, with what was issued since the last call.
        """
        ...


def at_home(person: Person, t: int, zone: str | None) -> bool:
    """Whether that person is at home, awake or not."""
    now = local(t, zone)
    if not person.goes_away or now.weekday() not in person.away_days:
        return True
    return not (person.leaves <= now.time() < person.back)  # type: ignore[operator]


def awake(person: Person, t: int, zone: str | None) -> bool:
    """Whether that person is up."""
    clock = local(t, zone).time()
    if person.rises <= person.bed:
        return person.rises <= clock < person.bed
    return clock >= person.rises or clock < person.bed


class Nobody:
    """Lids and covers stay as they were left."""

    def __init__(self, boxes: int, *, lid: float = 0.0, cover: float = 0.0) -> None:
        self._lid, self._cover = np.full(boxes, lid), np.full(boxes, cover)

    def decide(
        self, t: int, notices: Sequence[Notice], briefs: Sequence[Brief]
    ) -> tuple[FloatArray, FloatArray]:
        """The same for ever."""
        return self._lid, self._cover


@dataclass(frozen=True)
class _Errand:
    due_s: int
    box: int
    lid: float | None
    cover: float | None


class FollowsNotices:
    """Does what brief and notice say, a reaction time later, when at home and awake.

    Heat opens the lid, cold shuts it and puts the cover on if there is one; a brief's lines are done
    as written, before leaving. What cannot be done at once is done on coming home or on rising, unless
    later news about that box has replaced it.

    Args:
        boxes: Names in column order.
        reaction_minutes: Median time from phone to lid; drawn anew for each errand.
        misses: Chance that a notice is never seen.
        covers: Boxes that have a blanket.
    """

    def __init__(
        self,
        boxes: Sequence[str],
        *,
        person: Person,
        zone: str | None,
        reaction_minutes: float = 20.0,
        misses: float = 0.0,
        covers: frozenset[str] = frozenset(),
        seed: int = 0,
    ) -> None:
        self._boxes = {name: column for column, name in enumerate(boxes)}
        self._person, self._zone = person, zone
        self._reaction_s, self._misses = 60.0 * reaction_minutes, misses
        self._covers = {self._boxes[name] for name in covers}
        self._rng = np.random.default_rng([0xF0110, seed])
        self._lid, self._cover = np.zeros(len(boxes)), np.zeros(len(boxes))
        self._errands: list[_Errand] = []
        self.walks = 0
        """Times the person went out to the boxes."""

    def decide(
        self, t: int, notices: Sequence[Notice], briefs: Sequence[Brief]
    ) -> tuple[FloatArray, FloatArray]:
        """Take in the news, then do what is due."""
        for notice in notices:
            self._take_notice(t, notice)
        for brief in briefs:
            self._take_brief(t, brief)
        ready = [errand for errand in self._errands if errand.due_s <= t]
        if ready and at_home(self._person, t, self._zone) and awake(self._person, t, self._zone):
            lid, cover = self._lid.copy(), self._cover.copy()
            for errand in ready:
                if errand.lid is not None:
                    lid[errand.box] = errand.lid
                if errand.cover is not None:
                    cover[errand.box] = errand.cover
            self._errands = [errand for errand in self._errands if errand.due_s > t]
            self._lid, self._cover = lid, cover
            self.walks += 1
        return self._lid, self._cover

    def _plan(
        self, t: int, box: str, *, lid: float | None, cover: float | None, by_s: int | None = None
    ) -> None:
        column = self._boxes.get(box)
        if column is None:
            return
        if column not in self._covers:
            cover = None
        self._errands = [errand for errand in self._errands if errand.box != column]
        delay = self._reaction_s * np.exp(0.5 * self._rng.standard_normal())
        due_s = t + int(delay)
        if by_s is not None:  # who reads "by 8:00" does it before leaving
            due_s = max(t, min(due_s, by_s - 60))
        self._errands.append(_Errand(due_s, column, lid, cover))

    def _take_notice(self, t: int, notice: Notice) -> None:
        if notice.to != "person" or self._rng.random() < self._misses:
            return
        kinds = set(notice.kinds)
        for box in notice.boxes:
            if kinds & {"heat", "heat-ahead", "fast-rise", "soil-hot"}:
                self._plan(t, box, lid=0.6, cover=0.0)
            elif kinds & {"frost", "frost-ahead", "lid-loose"}:
                self._plan(t, box, lid=0.0, cover=1.0)

    def _take_brief(self, t: int, brief: Brief) -> None:
        for line in brief.lines:
            lid, cover = {
                "open": (1.0, 0.0),
                "prop": (PROPPED, 0.0),
                "air": (PROPPED, 0.0),
                "close": (0.0, None),
                "cover": (0.0, 1.0),
                "uncover": (None, 0.0),
                "leave": (None, None),
            }[line.advice]
            if line.opening is not None and line.advice in {"open", "prop", "air"}:
                lid = line.opening
            if lid is not None or cover is not None:
                self._plan(t, line.box, lid=lid, cover=cover, by_s=line.by_s)


class WaxArms:
    """Automatic arms: wax melts slowly, opens in proportion, and cannot shut against the wind.

    Args:
        opens_c: Where each arm begins to open, NaN where there is none, shape (b,).
        full_c: Degrees from first movement to fully open.
        lag_minutes: The wax follows the air this slowly; makers say 10 to 30 minutes (no source).
    """

    def __init__(self, opens_c: FloatArray, *, full_c: float = 8.0, lag_minutes: float = 15.0) -> None:
        self._opens_c = np.asarray(opens_c, dtype=float)
        self._full_c = full_c
        self._keep = float(np.exp(-1.0 / lag_minutes))
        self._wax_c: FloatArray | None = None

    def opening(self, air_c: FloatArray) -> FloatArray:
        """Opening after one more minute in air of that temperature, shape (b,); 0 without an arm."""
        wax = air_c if self._wax_c is None else air_c + self._keep * (self._wax_c - air_c)
        self._wax_c = wax
        return np.clip(np.nan_to_num((wax - self._opens_c) / self._full_c, nan=0.0), 0.0, 1.0)
