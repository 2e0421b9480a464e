"""What people asked for, as news for the engine: each request checked, dated, and answered.

Requests come from the API and the commands (through the store) and from afar (MQTT). One that cannot
be carried out is put aside with its reason; it never stops the row.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from propstick.errors import InputError
from propstick.garden import Garden
from propstick.news import (
    Acknowledged,
    CoverTold,
    HardeningTold,
    LidTold,
    News,
    ServiceChanged,
    Shelved,
    WateredTold,
)
from propstick.times import DAY_S

LONGEST_DRY_S = 60 * DAY_S
LONGEST_SHELVED_S = 28 * DAY_S
LID_WORDS = {"closed": 0.0, "propped": 0.1, "open": 1.0}


def news_of(
    kind: str, body: Mapping[str, Any], *, row_s: int, garden: Garden, known_alarms: frozenset[str]
) -> News:
    """The news a request makes at a row.

    Raises:
        InputError: an unknown kind, box or alarm, or a value out of its range.
    """
    if kind in ("acknowledge", "shelve", "unshelve"):
        alarm_id = str(body.get("id", ""))
        if alarm_id not in known_alarms:
            raise InputError(f"request {kind}: no alarm {alarm_id!r} stands", hint="see GET /v1/alarms")
        if kind == "acknowledge":
            return Acknowledged(time_s=row_s, alarm_id=alarm_id, by=str(body.get("by", "person")))
        until_s = _shelved_until(body.get("until"), row_s) if kind == "shelve" else None
        return Shelved(time_s=row_s, alarm_id=alarm_id, until_s=until_s)
    box = str(body.get("box", ""))
    if box not in garden.box_names:
        raise InputError(
            f"request {kind}: no box {box!r}, expected one of {', '.join(garden.box_names) or 'none'}"
        )
    if kind == "lid":
        return LidTold(time_s=row_s, box=box, opening=_opening(body.get("opening")))
    if kind in ("cover", "hardening"):
        if not isinstance(body.get("on"), bool):
            raise InputError(f"request {kind}: on was {body.get('on')!r}, expected true or false")
        told = CoverTold if kind == "cover" else HardeningTold
        return told(time_s=row_s, box=box, on=body["on"])
    if kind == "watered":
        return WateredTold(time_s=_watered_at(body.get("at"), row_s), box=box)
    if kind == "out-of-service":
        return ServiceChanged(time_s=row_s, box=box, in_service=not body.get("on", True))
    raise InputError(f"request: unknown kind {kind!r}")


def _opening(value: Any) -> float | None:
    if value is None:
        return None
    if isinstance(value, str) and value in LID_WORDS:
        return LID_WORDS[value]
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1:
        raise InputError(f"request lid: opening was {value!r}, expected 0 (closed) to 1 (fully open)")
    return round(float(value), 2)


def _watered_at(value: Any, row_s: int) -> int:
    """When a box was watered, UTC seconds: a moment of the last 60 days; None: just now."""
    if value is None:
        return row_s
    at_s = _moment(value, "request watered: at")
    if not row_s - LONGEST_DRY_S <= at_s <= row_s:
        raise InputError(f"request watered: at was {value!r}, expected a moment of the last 60 days")
    return at_s


def _shelved_until(value: Any, row_s: int) -> int:
    """The end of a shelving, UTC seconds: at least one row ahead, at most four weeks."""
    until_s = _moment(value, "request shelve: until")
    if not row_s < until_s <= row_s + LONGEST_SHELVED_S:
        raise InputError(f"request shelve: until was {value!r}, expected within the next four weeks")
    return until_s


def _moment(value: Any, what: str) -> int:
    """UTC seconds of RFC 3339; a time without its offset could be any."""
    try:
        at = datetime.fromisoformat(str(value))
        if at.tzinfo is None:
            raise ValueError
    except ValueError:
        raise InputError(f"{what} was {value!r}, expected RFC 3339 with an offset") from None
    return int(at.timestamp())
