"""The brief before leaving home and the one before dusk: what to do with each lid, and why.

Without forecasts the plain rules advise from what is seen now. A day on which nothing needs doing says
so, so that a missing brief means that the watch is down.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from propstick.engine.brief_words import brief_text
from propstick.engine.kinds import KINDS
from propstick.engine.schedule import Day
from propstick.engine.standing import Standing
from propstick.engine.wording import Speech, alarm_message, as_sentence, listed
from propstick.garden import Box, Garden
from propstick.limits import Limits
from propstick.records import Alarm, Brief, BriefLine

LATE_S = 2 * 3600
"""A brief is not sent so long after its time: the day has begun without it."""
FROST_MARGIN_C = 4.0
"""Air this close above the frost limit before dusk may pass it in the night. Common practice, no source."""

SOIL_WORDS = {
    "soil-cold": "Seed waits in {boxes}: soil under {limits}.",
    "soil-hot": "Seed may fail in {boxes}: soil over {limits}; shade it.",
}
"""What a brief says of soil. The reading at which its alarm rose is old by now, so none is named."""

Which = Literal["morning", "evening"]
WHICH: tuple[Which, ...] = ("morning", "evening")


@dataclass(frozen=True)
class BriefMemory:
    """The local dates on which each brief was last sent."""

    morning: date | None = None
    evening: date | None = None

    def is_due(self, which: Which, day: Day, time_s: int) -> bool:
        """Whether the brief falls due at this row."""
        due_s = day.morning_s if which == "morning" else day.evening_s
        last = self.morning if which == "morning" else self.evening
        return due_s <= time_s < due_s + LATE_S and (last is None or last < day.date)

    def sent(self, which: Which, day: date) -> BriefMemory:
        """The memory once it is sent."""
        return BriefMemory(day, self.evening) if which == "morning" else BriefMemory(self.morning, day)


@dataclass(frozen=True)
class BoxView:
    """What the plain rules know of a box. NaN where nothing is."""

    air_c: float
    lid: float
    cover: float
    limits: Limits
    empty: bool


def compose(
    which: Which, day: Day, time_s: int, *, garden: Garden, boxes: Mapping[str, BoxView], outside_c: float,
    lines: Sequence[BriefLine] | None, open_alarms: Sequence[Standing],
) -> Brief:  # fmt: skip
    """The brief of a row. `lines`: what foresight advises; None: the plain rules do."""
    speech = Speech(garden)
    if lines is None:
        lines = tuple(
            _plain_line(which, garden.box(name), view, outside_c=outside_c, speech=speech)
            for name, view in boxes.items()
            if not math.isnan(view.air_c) and not view.empty
        )
    told = [s.alarm for s in open_alarms if s.alarm is not None and _speaks(s)]
    troubles = [_trouble(alarm, speech) for alarm in told if alarm.kind not in SOIL_WORDS]
    troubles += [_soil_note(kind, told, speech) for kind in SOIL_WORDS]
    return Brief(
        issued_s=time_s,
        which=which,
        date=day.date,
        lines=tuple(lines),
        text=brief_text(which, lines, troubles, speech),
    )


def warned_c(brief: Brief, boxes: Mapping[str, BoxView]) -> dict[str, float]:
    """What an evening brief without forecasts has said of the night: as cold as the frost limit, where it
    asked for a lid to be closed or covered. A forecast says it better."""
    if brief.which != "evening":
        return {}
    asked = [line.box for line in brief.lines if line.advice in ("close", "cover") and line.box in boxes]
    return {box: boxes[box].limits.frost_c or 0.0 for box in asked}


def _speaks(standing: Standing) -> bool:
    """Whether the brief names the alarm: what waits for it, and what stands untold from the night."""
    return standing.state == "unacknowledged" and (
        KINDS[standing.kind].telling == "brief" or standing.kind == "store-trouble"
    )


def _trouble(alarm: Alarm, speech: Speech) -> str:
    """What is the matter. How near a limit was when the last probe fell silent is old by now."""
    message = alarm_message(alarm, speech) if alarm.kind == "probe-silent" else alarm.message
    return as_sentence(alarm, message)


def _soil_note(kind: str, told: Sequence[Alarm], speech: Speech) -> str:
    """All boxes whose soil is too cold, or too hot, in one sentence; empty if there are none."""
    limits = {alarm.box: speech.limit(alarm.limit_c or 0.0) for alarm in told if alarm.kind == kind}
    if not limits:
        return ""
    boxes, different = listed(tuple(limits)), tuple(dict.fromkeys(limits.values()))
    return SOIL_WORDS[kind].format(boxes=boxes, limits=listed(different))


def _plain_line(which: Which, box: Box, view: BoxView, *, outside_c: float, speech: Speech) -> BriefLine:
    """Advice from what is seen now, without any forecast."""
    limits = view.limits
    air = speech.measured(view.air_c)
    if which == "morning":
        if view.air_c >= (limits.heat_c or math.inf):
            return BriefLine(box=box.name, advice="open", opening=1.0, reason=f"already {air}")
        if view.air_c >= (limits.prop_c or math.inf):
            return BriefLine(box=box.name, advice="prop", opening=0.1, reason=f"already {air}")
        if view.cover == 1.0:
            return BriefLine(box=box.name, advice="uncover", reason="covered, and the day needs its light")
        return BriefLine(box=box.name, advice="leave", reason=f"{air}, within its limits")
    coldest = view.air_c if math.isnan(outside_c) else min(view.air_c, outside_c)
    if coldest <= (limits.frost_c or 0.0) + FROST_MARGIN_C and view.cover != 1.0:
        return BriefLine(
            box=box.name,
            advice="cover",
            opening=0.0,
            reason=f"{speech.measured(coldest)} already, frost may follow",
        )
    if not view.lid <= 0.0 and not math.isnan(view.lid):
        return BriefLine(
            box=box.name, advice="close", opening=0.0, reason="the lid is open and the night is cooler"
        )
    return BriefLine(box=box.name, advice="leave", reason=f"{air}, within its limits")
