"""One alarm point as it stands: its condition, its state, the alarm on record, what was told of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from propstick.engine.alarms import Input, step
from propstick.engine.conditions import Subject
from propstick.engine.kinds import KINDS
from propstick.records import Alarm, AlarmChange, AlarmKind, AlarmState
from propstick.times import utc_text

CHATTER_S = 1800
CHATTER_RAISES = 3
CHATTER_FACTOR = 6
"""Raised so often in so long an alarm chatters, and must be clear for so many times its off-delay. Ours;
the industry counts three in a minute, which a minute's grid cannot see."""
STALE_S = 86_400
"""In alarm without a break over 24 h is stale (ISA-18.2 as reprinted)."""


@dataclass(frozen=True, kw_only=True)
class Standing:
    """An alarm point that is not simply normal.

    Attributes:
        active: The on-delay was met and the off-delay not yet.
        begun_s: First row of the crossing, while it lasts or the alarm is active.
        clear_s: Since when an active condition is clear.
        peak_c, peak_s: The worst since `begun_s`.
        alarm: What is on record; None while nothing was raised, or all was hidden.
        foretold_s, foretold_by: When the notice went out that foretold this crossing, and of which kind.
        told_s: When the person was told, by push or brief; None: not yet.
        told_by_push: Whether that was a notice of its own, which may escalate and be told to be over.
        escalations: Steps of the escalation plan already taken.
        recent_s: The last times it was raised: does it chatter?
        pressing: A trouble that must not wait for the brief.
        detail: What only the reporter of a trouble knows.
    """

    kind: AlarmKind
    subject: Subject
    state: AlarmState = "normal"
    active: bool = False
    begun_s: int | None = None
    clear_s: int | None = None
    peak_c: float | None = None
    peak_s: int | None = None
    alarm: Alarm | None = None
    foretold_s: int | None = None
    foretold_by: str = ""
    told_s: int | None = None
    told_by_push: bool = False
    escalations: int = 0
    recent_s: tuple[int, ...] = ()
    stale: bool = False
    pressing: bool = False
    detail: str = ""

    @property
    def key(self) -> str:
        """Where it is kept: kind, box, place and probe."""
        return key_of(self.kind, self.subject)

    @property
    def is_live(self) -> bool:
        """Whether anything is going on that time alone may change."""
        return self.active or self.begun_s is not None or self.alarm is not None or self.state != "normal"

    @property
    def is_chattering(self) -> bool:
        """Whether it was raised too often of late."""
        last = self.recent_s[-CHATTER_RAISES:]
        return len(last) == CHATTER_RAISES and last[-1] - last[0] <= CHATTER_S

    def off_delay_s(self, usual_s: int) -> int:
        """How long it must be clear before it returns."""
        return CHATTER_FACTOR * max(usual_s, 60) if self.is_chattering else usual_s

    @property
    def record(self) -> Alarm | None:
        """The alarm on record with its state and peak as of now."""
        if self.alarm is None:
            return None
        return replace(self.alarm, state=self.state, peak_c=self.peak_c, peak_s=self.peak_s)

    def after(self, given: Input, at_s: int) -> tuple[Standing, AlarmChange | None]:
        """The point after an input, and the change to put on record, if any."""
        found = step(self.state, given)
        alarm = self.alarm
        moved = replace(self, state=found.state)
        if alarm is None:
            return moved, None
        if given in (Input.RETURN, Input.RETURN_LATCHED):
            alarm = replace(alarm, returned_s=at_s)
        elif given is Input.RAISE:
            alarm = replace(alarm, returned_s=None)
        elif given is Input.ACKNOWLEDGE and alarm.acknowledged_s is None:
            alarm = replace(alarm, acknowledged_s=at_s)
        if found.state != "shelved" and alarm.shelved_until_s is not None:
            alarm = replace(alarm, shelved_until_s=None)
        moved = replace(moved, alarm=alarm)
        record = moved.record
        change = None if found.event is None or record is None else AlarmChange(at_s, found.event, record)
        if found.state in ("normal", "out-of-service") and not moved.active:
            moved = moved.without_record()
        return moved, change

    def without_record(self) -> Standing:
        """The point once its alarm is over: nothing told, nothing to tell."""
        return replace(
            self, alarm=None, told_s=None, told_by_push=False, escalations=0, stale=False, pressing=False,
            foretold_s=None,
        )  # fmt: skip

    @property
    def return_input(self) -> Input:
        """Which return applies: a kind that is latched waits for a person."""
        return Input.RETURN_LATCHED if KINDS[self.kind].latched else Input.RETURN


def key_of(kind: str, subject: Subject) -> str:
    """The name an alarm point is kept under."""
    return f"{kind}|{subject.box}|{subject.place or ''}|{subject.probe or ''}"


@lru_cache(maxsize=256)
def keys_of(kind: str, subjects: tuple[Subject, ...]) -> tuple[str, ...]:
    """The names of all subjects of a rule."""
    return tuple(key_of(kind, subject) for subject in subjects)


def stamp(time_s: int) -> str:
    """A time inside an id: `20260315T044000Z`."""
    return utc_text(time_s).replace("-", "").replace(":", "")


def alarm_id(kind: str, subject: Subject, raised_s: int) -> str:
    """The id of an alarm: the same in every rerun."""
    parts = [subject.box, kind, *([subject.probe] if subject.probe else []), stamp(raised_s)]
    return ".".join(parts)
