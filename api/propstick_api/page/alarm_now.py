"""What an open alarm says as the box stands now: an alarm keeps the words of the moment it was raised."""

from __future__ import annotations

from typing import Any

from propstick.engine.wording import as_sentence
from propstick.records import Alarm
from propstick_api.page import words
from propstick_api.page.reading import Reading

MEASURED = {"heat": "air", "frost": "air", "fast-rise": "air", "soil-cold": "soil", "soil-hot": "soil"}
"""Alarms whose message has a reading as it was when they were raised, and the place it is of."""
OVER = {"heat": 1.0, "soil-hot": 1.0, "frost": -1.0, "soil-cold": -1.0}
"""Which way their limit is passed."""
FORETOLD = frozenset({"frost-ahead"})
"""Alarms whose figures are a forecast's: nothing was measured there yet."""
VALUE_IS_OLD_STEPS = 3
VALUE_IS_OLD_S = 1200


def is_old(place: dict[str, Any], step_s: int) -> bool:
    """Whether a probe's value is none, or older than a few rows."""
    age_s = place["age_s"]
    return place["value"] is None or age_s is None or age_s > max(VALUE_IS_OLD_STEPS * step_s, VALUE_IS_OLD_S)


def message_now(alarm: dict[str, Any], view: dict[str, Any], reading: Reading) -> str:
    """The alarm's message with the reading of now, and with what is left to do."""
    return "".join(said_now(alarm, view, reading))


def said_now(alarm: dict[str, Any], view: dict[str, Any], reading: Reading) -> tuple[str, str]:
    """The same in two: the message, and what the reading has come to if it is no longer beyond its limit.

    The alarm ends some minutes after that; until then its words of the beginning stay.
    """
    message = alarm["message"] or alarm["kind"]
    box = next((box for box in view["boxes"] if box["box"] == alarm["box"]), None)
    if box is None:
        return message, ""
    if alarm["kind"] in FORETOLD and alarm.get("value_c") is not None:
        return _said(alarm, alarm["value_c"], box, reading), ""
    place = box.get(MEASURED.get(alarm["kind"], ""))
    if place is None or is_old(place, view["step_s"]):
        return message, ""
    value_c, limit_c, way = place["value"], alarm.get("limit_c"), OVER.get(alarm["kind"])
    if way is not None and limit_c is not None and way * (value_c - limit_c) > 0.0:
        return _said(alarm, value_c, box, reading), ""
    now = reading.degrees(value_c)
    return message, "" if f" {now}" in message else words.BY_NOW.format(value=now)


def sentence_now(alarm: dict[str, Any], view: dict[str, Any], reading: Reading) -> str:
    """The same as a sentence of its own."""
    return as_sentence(_alarm(alarm, None), message_now(alarm, view, reading))


def _said(alarm: dict[str, Any], value_c: float, box: dict[str, Any], reading: Reading) -> str:
    return reading.alarm(_alarm(alarm, value_c), lid=box["lid"]["opening"], cover=box["cover"])


def _alarm(alarm: dict[str, Any], value_c: float | None) -> Alarm:
    return Alarm(
        id=alarm["id"], box=alarm["box"], kind=alarm["kind"], state=alarm["state"], raised_s=0, begun_s=0,
        value_c=value_c, limit_c=alarm.get("limit_c"),
    )  # fmt: skip
