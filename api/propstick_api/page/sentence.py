"""The one sentence the page opens with: does anything need me now?"""

from __future__ import annotations

import re
from datetime import datetime
from typing import Any

from propstick.engine.brief_words import NO_FORECAST
from propstick.engine.wording import listed
from propstick_api.live import Health
from propstick_api.page import words
from propstick_api.page.alarm_now import is_old, message_now, said_now
from propstick_api.page.reading import Reading, span_words

STANDING = frozenset({"unacknowledged", "acknowledged"})
WAITS = frozenset({"Minor", "Unknown"})
"""Severities (CAP 1.2) that can wait; the others call for a hand."""
LID_IS_THERE = 0.08
"""A lid so near to where it should be has been seen to."""
_DEED = re.compile(r": (open|shade|cover|close and cover) it( before)?\.$")
"""The end of an alarm's message: what to do."""


def sentence(view: dict[str, Any] | None, health: Health, reading: Reading, *, now_s: int) -> str:
    """One sentence, from open alarms, the latest advice and the age of what is known."""
    if view is None:
        return words.STORE_TROUBLE if health.status == "store-trouble" else words.NOT_STARTED
    pressing = [a for a in view["alarms"] if a["state"] in STANDING and a["severity"] not in WAITS]
    if not health.is_good:
        return _cannot_say(pressing, health)
    asked = {one["body"].get("id") for one in view["asked"] if one["kind"] in ("acknowledge", "shelve")}
    unseen = [a for a in pressing if a["state"] == "unacknowledged" and a["id"] not in asked]
    if unseen:
        return _needs(unseen, view, reading)
    silent = [box["box"] for box in view["boxes"] if is_old(box["air"], view["step_s"])]
    due = _due(view, reading, now_s=now_s)
    if due is not None:
        return due + (words.ALSO_SILENT.format(boxes=listed(silent)) if silent else "")
    if pressing:
        return words.SEEN.format(message=said_now(pressing[0], view, reading)[0])
    if silent:
        return words.NOTHING_KNOWN.format(boxes=listed(silent))
    waiting = [a for a in view["alarms"] if a["state"] == "unacknowledged" and a["id"] not in asked]
    if not waiting:
        return words.NOTHING
    return words.CAN_WAIT.format(message=message_now(waiting[0], view, reading))


def is_done(box: dict[str, Any], line: dict[str, Any]) -> bool:
    """Whether the lid (or cover) is where the advice wants it."""
    opening, advice = box["lid"]["opening"], line["advice"]
    if advice == "leave":
        return True
    if advice == "uncover":
        return box["cover"] is False
    if advice == "cover":
        return box["cover"] is True
    wanted = next_opening(line)
    return wanted is None or (opening is not None and abs(opening - wanted) <= LID_IS_THERE)


def next_opening(line: dict[str, Any] | None) -> float | None:
    """Where the advice wants the lid, 0 shut to 1 open; None: where it is."""
    if line is None:
        return None
    if line["opening"] is not None:
        return line["opening"]
    return {"open": 1.0, "close": 0.0, "cover": 0.0}.get(line["advice"])


def deed(line: dict[str, Any], box: dict[str, Any]) -> str:
    """What the advice says, in a few words."""
    is_shut = box["lid"]["opening"] is not None and box["lid"]["opening"] <= LID_IS_THERE
    said = words.COVER_SHUT if line["advice"] == "cover" and is_shut else words.DEEDS[line["advice"]]
    return said.format(box=line["box"])


def standing_advice(box: dict[str, Any], view: dict[str, Any]) -> dict[str, Any] | None:
    """The advice for a box.

    None where a later brief had nothing to say of it, as of one that fell silent; and where the brief
    foresaw nothing and a forecast has come since.
    """
    line, brief = box["advice"], view.get("brief")
    if line is None or brief is None or "issued" not in line:
        return line
    night = box["forecast"]["night"]
    if line["reason"] == NO_FORECAST and night is not None and night["issued"] > line["issued"]:
        return None
    return None if line["issued"] < brief["issued"] else line


def _cannot_say(pressing: list[dict[str, Any]], health: Health) -> str:
    age = span_words(health.age_s or 0)
    if pressing:
        return words.CANNOT_SAY_STOOD.format(age=age, boxes=_boxes(pressing))
    return words.CANNOT_SAY.format(age=age)


def by_need(alarms: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What calls for a hand first, then what can wait."""
    return sorted(alarms, key=lambda a: (a["severity"] in WAITS, a["urgency"] != "Immediate", a["raised"]))


def _needs(alarms: list[dict[str, Any]], view: dict[str, Any], reading: Reading) -> str:
    first = by_need(alarms)[0]
    message, by_now = said_now(first, view, reading)
    others = [a for a in alarms if a["box"] != first["box"]]
    alike = _DEED.search(message)
    if others and alike and {_deed_of(said_now(a, view, reading)[0]) for a in alarms} == {alike[0]}:
        what = message.removesuffix(alike[0]) + "." + by_now
        return words.NEEDS_ALIKE.format(deed=alike[1], boxes=_boxes([first, *others]), message=what)
    if others:
        return words.NEEDS_MANY.format(boxes=_boxes([first, *others]), message=message + by_now)
    return words.NEEDS_ONE.format(message=message + by_now)


def _deed_of(message: str) -> str:
    found = _DEED.search(message)
    return found[0] if found else ""


def _due(view: dict[str, Any], reading: Reading, *, now_s: int) -> str | None:
    """The advice that is due first and not followed yet."""
    lines = [(standing_advice(box, view), box) for box in view["boxes"]]
    open_ones = [(line, box) for line, box in lines if line is not None and not is_done(box, line)]
    if not open_ones:
        return None
    first, box = min(open_ones, key=lambda one: one[0]["by"] or "9")
    said = deed(first, box)
    if first["by"] is None:
        return words.DUE_NOW.format(deed=said)
    is_late = datetime.fromisoformat(first["by"]).timestamp() < now_s
    return (words.OVERDUE if is_late else words.DUE).format(deed=said, by=reading.clock(first["by"]))


def _boxes(alarms: list[dict[str, Any]]) -> str:
    return listed(list(dict.fromkeys(a["box"] for a in alarms)))
