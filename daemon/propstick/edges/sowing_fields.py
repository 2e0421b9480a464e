"""The fields of a sowing, what each may hold, and in which order its days may lie."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from propstick.errors import InputError

DATES = ("sown", "first_up", "half_up", "flowering", "first_pick", "cleared")
FIELDS = ("crop", "box", "note", "yield_note", *DATES, "yield_g")
_LONGEST_TEXT = 2_000
_HEAVIEST_G = 1_000_000


def checked(fields: Mapping[str, Any]) -> dict[str, Any]:
    """The fields as they are stored: days as dates, texts without spaces around them.

    Raises:
        InputError: an unknown field, or a value of the wrong kind.
    """
    unknown = sorted(set(fields) - set(FIELDS))
    if unknown:
        raise InputError(f"sowing: unknown field {unknown[0]!r}, expected one of {', '.join(FIELDS)}")
    return {name: _checked_value(name, value) for name, value in fields.items()}


def _checked_value(name: str, value: Any) -> Any:
    if name in DATES:
        return _day(name, value)
    if name == "yield_g":
        whole = isinstance(value, int) and not isinstance(value, bool)
        if value is not None and not (whole and 0 <= value <= _HEAVIEST_G):
            raise InputError(f"sowing, yield_g: got {value!r}, expected 0 to {_HEAVIEST_G} whole grams")
        return value
    if not isinstance(value, str) or len(value) > _LONGEST_TEXT or "\0" in value:
        raise InputError(
            f"sowing, {name}: got {value!r:.60}, expected a text of at most {_LONGEST_TEXT} signs"
        )
    return value.strip()


def _day(name: str, value: Any) -> date | None:
    if value is None or type(value) is date:
        return value
    try:
        return date.fromisoformat(value)
    except (TypeError, ValueError):
        raise InputError(f"sowing, {name}: got {value!r:.60}, expected a day such as 2026-03-15") from None


_ORDER = ("sown", "first_up", "half_up", "first_pick", "cleared")
"""In life's order. Flowering stands apart: a batch may flower before it was ever picked."""
_WORDS = dict(zip(_ORDER, ("sown", "up", "half up", "picked", "cleared"), strict=True))


def check_order(
    values: Mapping[str, Any], *, told: Mapping[str, Any] | None = None, number: int | None = None
) -> None:
    """Nothing comes up before it is sown, nor is picked before it is up.

    Args:
        told: The days a person has just given: one of them is named as wrong, not what stood before.
        number: The sowing's, where it has one: the error then says how to see all its days.

    Raises:
        InputError: a day before one that must come first.
    """
    hint = f"propstick sow history {number} shows every day noted; give the wrong one anew" if number else ""
    earlier: tuple[str, date] | None = None
    for name in _ORDER:
        day = values.get(name)
        if day is None:
            continue
        if earlier is not None and day < earlier[1]:
            if told is not None and name not in told and earlier[0] in told:
                raise InputError(
                    f"sowing, {earlier[0]}: got {earlier[1]}, expected a day until {day} ({_WORDS[name]})",
                    hint=hint,
                )
            raise InputError(
                f"sowing, {name}: got {day}, expected a day from {earlier[1]} ({_WORDS[earlier[0]]}) on",
                hint=hint,
            )
        earlier = (name, day)
    sown, flowering = values.get("sown"), values.get("flowering")
    if sown is not None and flowering is not None and flowering < sown:
        raise InputError(f"sowing, flowering: got {flowering}, expected a day from {sown} (sown) on")


def check_has_been(fields: Mapping[str, Any], *, today: date) -> None:
    """No day of a sowing lies ahead: what is noted has been seen.

    Raises:
        InputError: a day after `today`, the day on the garden's calendar.
    """
    for name in DATES:
        day = _day(name, fields.get(name))
        if day is not None and day > today:
            raise InputError(
                f"sowing, {name}: got {day}, which is still to come, expected {today} or earlier",
                hint="write it down on the day; the season says when to sow next",
            )
