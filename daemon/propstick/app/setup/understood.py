"""What a person says on the first evening, understood.

Only words in and facts out: `evening.py` does the asking, `probes.py` and `files.py` the rest. Answers are
kept as they were typed, so that an evening that is broken off goes on where it stopped.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import date, timedelta
from typing import Any

from propstick.errors import InputError
from propstick.garden import OUTSIDE, RESERVED
from propstick.units import Unit

MOST_BOXES = 24
OLDEST_SOWING = timedelta(days=400)
"""A crop sown longer ago is a slip of the year: what winters under glass was sown last summer. Our choice."""
NOTHING = frozenset({"never", "no", "none", "nothing", "n", "-", "nobody", "nowhere"})
"""What a tired person types where an empty line would do."""
_NO_NAMES = NOTHING | {"yes", "y", "help", "quit", "exit", "skip", "done", "back"}
"""Answers to another question than what a box is called."""
_COUNTS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_UNIT_WORDS = ("celsius", "centigrade", "fahrenheit", "farenheit")


@dataclass(frozen=True, kw_only=True)
class Answers:
    """One evening's answers so far. None: not asked yet.

    Attributes:
        position: Latitude and longitude, degrees north and east; empty if not told.
        probes: (id, box, place) of each probe found.
        sown: (crop, box, day) of each batch, the day as `2026-03-15`.
        away: (leaves, back) as `08:00`; empty if never away by plan.
        night: (bed, rises) as `22:30`.
        push: An address as apprise writes them; empty for none. A secret.
        page_for_phones: Whether phones at home may see the page.
    """

    position: tuple[float, ...] | None = None
    zone: str | None = None
    unit: Unit | None = None
    boxes: tuple[str, ...] | None = None
    probes: tuple[tuple[str, str, str], ...] | None = None
    sown: tuple[tuple[str, str, str], ...] | None = None
    away: tuple[str, ...] | None = None
    away_days: tuple[str, ...] | None = None
    night: tuple[str, str] | None = None
    push: str | None = None
    arrived: bool | None = None
    page_for_phones: bool | None = None

    def to_json(self) -> dict[str, Any]:
        """What was answered, as data."""
        return {name: value for name, value in asdict(self).items() if value is not None}

    @classmethod
    def of_json(cls, data: Mapping[str, Any]) -> Answers:
        """The answers `to_json` gave; whatever else the data has is left out."""
        known = {f.name for f in fields(cls)}
        return cls(**{name: _tuples(value) for name, value in data.items() if name in known})


def _tuples(value: Any) -> Any:
    return tuple(_tuples(item) for item in value) if isinstance(value, list) else value


def position(text: str) -> tuple[float, ...]:
    """`52.35, -6.46`, `52.35N 6.46W`: degrees north and east. Empty gives an empty position.

    Raises:
        InputError: not two numbers, twice the same axis, or no place on the globe.
    """
    if not text.strip() or text.strip().lower() in NOTHING:
        return ()
    found = re.findall(r"([+-]?\d+(?:\.\d+)?)\s*°?\s*([NSEWnsew]?)", text)
    rest = re.sub(r"([+-]?\d+(?:\.\d+)?)\s*°?\s*([NSEWnsew]?)", "", text)
    sides = [side.upper() for _, side in found]
    axes = ["latitude" if side in "NS" else "longitude" for side in sides if side]
    if len(found) != 2 or rest.strip(" ,;\t") or len(set(axes)) < len(axes):
        raise refused("position", text, "latitude and longitude in decimal degrees, such as 52.35, -6.46")
    values = [
        -abs(float(n)) if side in ("S", "W") else float(n) for (n, _), side in zip(found, sides, strict=True)
    ]
    if sides[0] in ("E", "W") or sides[1] in ("N", "S"):
        values.reverse()
    if not (-90 <= values[0] <= 90 and -180 <= values[1] <= 180):
        raise refused("position", text, "-90 to 90 degrees north and -180 to 180 degrees east")
    return tuple(values)


def unit(text: str) -> Unit:
    """`C`, `celsius`, `degrees F`, `°F`.

    Raises:
        InputError: neither; `cold` is no unit.
    """
    word = re.sub(r"^(?:degrees?|deg\.?)\s+|^°\s*", "", text.strip().lower())
    if word in ("c", "f") or (len(word) >= 3 and any(whole.startswith(word) for whole in _UNIT_WORDS)):
        return "C" if word[0] == "c" else "F"
    raise refused("unit", text, "C or F")


def box_names(text: str) -> tuple[str, ...]:
    """`north, by the lane` gives `north`, `by-the-lane`; `2`, `two boxes` give `box-1`, `box-2`.

    A number before as many names is their number: `2: north, lane`.

    Raises:
        InputError: none, too many, the same twice, or a word that cannot be a name.
    """
    plain = re.sub(r"\s+(?:and|&|\+)\s+", ", ", text.strip())
    if (count := _count(plain)) is not None:
        if not 1 <= count <= MOST_BOXES:
            raise refused("boxes", text, f"1 to {MOST_BOXES}")
        return tuple(f"box-{k}" for k in range(1, count + 1)) if count > 1 else ("box",)
    plain = re.sub(r"^(\w+)\s*:\s+", r"\1, ", plain)
    parts = [part.strip() for part in re.split(r"[,;]", plain) if part.strip()]
    if len(parts) > 1 and _count(parts[0]) == len(parts) - 1:
        parts = parts[1:]
    names = tuple(_name(part) for part in parts)
    if not 1 <= len(names) <= MOST_BOXES:
        raise refused("boxes", text, "how many, or their names with commas between, such as north, lane")
    if len(set(names)) < len(names):
        raise refused("boxes", text, "each name once")
    return names


def _count(text: str) -> int | None:
    """`2`, `two`, `2 boxes`: how many; None if it is something else."""
    match = re.fullmatch(r"(\d{1,4}|[a-z]+)(?:\s+box(?:es)?)?", text.strip().lower())
    if match is None:
        return None
    if match[1].isdigit():
        return int(match[1])
    return _COUNTS.index(match[1]) + 1 if match[1] in _COUNTS else None


def _name(text: str) -> str:
    name = re.sub(r"[\s_]+", "-", text.strip().lower())
    if not re.fullmatch(r"[a-z0-9-]{1,40}", name) or not name.strip("-"):
        raise refused("box", text.strip(), "letters a to z, digits and hyphens, at most 40")
    if name in RESERVED:
        raise refused("box", text.strip(), f"another name: {name} is the word for what is no box")
    if name in _NO_NAMES:
        raise refused("box", text.strip(), "how many boxes, or their names, such as north, lane")
    return name


def sowing(text: str, boxes: Sequence[str], *, today: date) -> tuple[str, str, str] | None:
    """`lettuce, north, 2026-03-15`; commas or none; without a day it is today.

    With one box its name may be left out. None for nothing (more) sown.

    Raises:
        InputError: no crop, a box that is not there, a day that is none, still to come or long past.
    """
    if not text.strip() or text.strip().lower() in NOTHING | {"done"}:
        return None
    known = [*boxes, OUTSIDE]
    parts = [part.strip() for part in text.split(",") if part.strip()]
    if len(parts) == 1:
        parts = _apart(parts[0], known)
    if len(parts) == 1 and len(boxes) == 1:
        parts.append(boxes[0])
    if len(parts) == 2 and len(boxes) == 1 and _day(parts[1], today) is not None:
        parts.insert(1, boxes[0])
    if not 2 <= len(parts) <= 3 or not re.search(r"[^\W\d_]{2}", parts[0]):
        raise refused("sowing", text, "crop, box, day: such as lettuce, north, 2026-03-15")
    box = re.sub(r"[\s_]+", "-", parts[1].lower())
    if box not in known:
        raise refused("sowing", parts[1], f"one of {', '.join(known)}")
    day = _day(parts[2], today) if len(parts) == 3 else today
    if day is None:
        raise refused("sowing", parts[2], "a day such as 2026-03-15")
    if day > today:
        raise refused("sowing", parts[2], f"a day up to today ({today}); tell later sowings later")
    if day < today - OLDEST_SOWING:
        raise refused("sowing", parts[2], f"a day since {today - OLDEST_SOWING}")
    return parts[0].lower(), box, day.isoformat()


def _apart(text: str, known: Sequence[str]) -> list[str]:
    """`lettuce north 2026-03-15`, without commas: crop, box, day as far as they are there."""
    words = text.split()
    day = [words.pop()] if len(words) > 1 and re.fullmatch(r"\d{4}-\S+|today|yesterday", words[-1]) else []
    for length in range(len(words) - 1, 0, -1):
        if "-".join(words[-length:]).lower() in known:
            return [" ".join(words[:-length]), " ".join(words[-length:]), *day]
    return [" ".join(words), *day]


def _day(text: str, today: date) -> date | None:
    if text.lower() in ("today", "yesterday"):
        return today - timedelta(days=int(text.lower() == "yesterday"))
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def yes(text: str) -> bool:
    """`y`, `yes`, `n`, `no`.

    Raises:
        InputError: neither.
    """
    word = text.strip().lower().rstrip(".!")
    if word in ("y", "yes"):
        return True
    if word in ("n", "no"):
        return False
    raise refused("answer", text, "yes or no")


def refused(what: str, got: str, expected: str) -> InputError:
    """The error for an answer that cannot be taken."""
    return InputError(f"{what}: got {got.strip()!r:.80}, expected {expected}")
