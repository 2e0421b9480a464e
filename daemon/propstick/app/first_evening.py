"""What a person says on the first evening, understood.

Only words in and facts out: `commands/setup.py` does the asking, the probes and the files. Answers are
kept as they were typed, so that an evening that is broken off goes on where it stopped.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import date, time
from typing import Any

from propstick.app.config_models import WEEKDAYS
from propstick.errors import InputError
from propstick.garden import OUTSIDE, RESERVED
from propstick.times import hours_minutes
from propstick.units import Unit

MOST_BOXES = 24
_NEVER = frozenset({"never", "no", "-"})


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
        InputError: not two numbers, or no place on the globe.
    """
    if not text.strip() or text.strip().lower() in _NEVER:
        return ()
    found = re.findall(r"([+-]?\d+(?:\.\d+)?)\s*°?\s*([NSEWnsew]?)", text)
    rest = re.sub(r"([+-]?\d+(?:\.\d+)?)\s*°?\s*([NSEWnsew]?)", "", text)
    if len(found) != 2 or rest.strip(" ,;\t"):
        raise _refused("position", text, "latitude and longitude in decimal degrees, such as 52.35, -6.46")
    values = [-abs(float(n)) if side.upper() in ("S", "W") and side else float(n) for n, side in found]
    if found[0][1].upper() in ("E", "W") and found[0][1]:
        values.reverse()
    if not (-90 <= values[0] <= 90 and -180 <= values[1] <= 180):
        raise _refused("position", text, "-90 to 90 degrees north and -180 to 180 degrees east")
    return tuple(values)


def unit(text: str) -> Unit:
    """`C`, `celsius`, `°F`.

    Raises:
        InputError: neither.
    """
    letter = text.strip().lstrip("°").upper()[:1]
    if letter == "C":
        return "C"
    if letter == "F":
        return "F"
    raise _refused("unit", text, "C or F")


def box_names(text: str) -> tuple[str, ...]:
    """`north, by the lane` gives `north`, `by-the-lane`; `2` gives `box-1`, `box-2`.

    Raises:
        InputError: none, too many, the same twice, or a word that cannot be a name.
    """
    if re.fullmatch(r"\s*\d+\s*", text):
        count = int(text)
        if not 1 <= count <= MOST_BOXES:
            raise _refused("boxes", text, f"1 to {MOST_BOXES}")
        return tuple(f"box-{k}" for k in range(1, count + 1)) if count > 1 else ("box",)
    names = tuple(_name(part) for part in re.split(r"[,;]", text) if part.strip())
    if not 1 <= len(names) <= MOST_BOXES:
        raise _refused("boxes", text, "how many, or their names with commas between, such as north, lane")
    if len(set(names)) < len(names):
        raise _refused("boxes", text, "each name once")
    return names


def _name(text: str) -> str:
    name = re.sub(r"[\s_]+", "-", text.strip().lower())
    if not re.fullmatch(r"[a-z0-9-]{1,40}", name):
        raise _refused("box", text.strip(), "letters a to z, digits and hyphens, at most 40")
    if name in RESERVED:
        raise _refused("box", text.strip(), f"another name: {name} is the word for what is no box")
    return name


def times_of_day(text: str, *, what: str) -> tuple[str, str]:
    """`8:00 17:30`, `8-17:30`, `08:00 to 17:30`.

    Raises:
        InputError: not two times of day.
    """
    words = re.findall(r"\d{1,2}(?::\d\d)?(?:\s*[ap]m)?", text.lower())
    rest = re.sub(r"\d{1,2}(?::\d\d)?(?:\s*[ap]m)?|to|and|[\s,;–-]", "", text.lower())
    if len(words) != 2 or rest:
        raise _refused(what, text, "two times such as 08:00 17:30")
    first, second = (_time(word, text, what) for word in words)
    return f"{first:%H:%M}", f"{second:%H:%M}"


def _time(word: str, text: str, what: str) -> time:
    match = re.fullmatch(r"(\d{1,2})(:\d\d)?\s*([ap]m)?", word)
    assert match is not None
    hour = int(match[1])
    if match[3]:
        if not 1 <= hour <= 12:
            raise _refused(what, text, "two times such as 8am 5:30pm")
        hour = hour % 12 + (12 if match[3] == "pm" else 0)
    try:
        return hours_minutes(f"{hour}{match[2] or ':00'}")
    except InputError:
        raise _refused(what, text, "two times such as 08:00 17:30") from None


def away(text: str) -> tuple[str, ...]:
    """When one leaves and comes back; `never` gives nothing.

    Raises:
        InputError: not two times, or back before leaving.
    """
    if text.strip().lower() in _NEVER:
        return ()
    leaves, back = times_of_day(text, what="away")
    if leaves >= back:
        raise _refused("away", text, "leaving, and a return later on the same day; or never")
    return leaves, back


def night(text: str) -> tuple[str, str]:
    """When one goes to bed and rises.

    Raises:
        InputError: not two different times.
    """
    bed, rises = times_of_day(text, what="night")
    if bed == rises:
        raise _refused("night", text, "two different times such as 22:30 06:30")
    return bed, rises


def days(text: str) -> tuple[str, ...]:
    """`mon-fri`, `mon tue sat`, `every day`, in the order of the week.

    Raises:
        InputError: a word that is no day.
    """
    plain = text.strip().lower()
    if plain in ("every day", "daily", "all"):
        return WEEKDAYS
    chosen: set[int] = set()
    for part in re.split(r"[,;\s]+", re.sub(r"\s*(?:-|–|\bto\b)\s*", "-", plain)):
        ends = [_weekday(word, text) for word in part.split("-")]
        if len(ends) > 2:
            raise _refused("days", text, "days such as mon-fri, or mon tue sat")
        first, last = ends[0], ends[-1]
        chosen |= {k % 7 for k in range(first, last + 1 if last >= first else last + 8)}
    return tuple(WEEKDAYS[k] for k in sorted(chosen))


def _weekday(word: str, text: str) -> int:
    short = word[:3]
    if short not in WEEKDAYS or not word.isalpha():
        raise _refused("days", text, "days such as mon-fri, or mon tue sat")
    return WEEKDAYS.index(short)


def sowing(text: str, boxes: Sequence[str], *, today: date) -> tuple[str, str, str]:
    """`lettuce, north, 2026-03-15`; without a day it is today, with one box its name may be left out.

    Raises:
        InputError: no crop, a box that is not there, a day that is none or still to come.
    """
    parts = [part.strip() for part in text.split(",")]
    if len(parts) == 1 and len(boxes) == 1:
        parts.append(boxes[0])
    if not 2 <= len(parts) <= 3 or not parts[0]:
        raise _refused("sowing", text, "crop, box, day: such as lettuce, north, 2026-03-15")
    known = [*boxes, OUTSIDE]
    box = re.sub(r"[\s_]+", "-", parts[1].lower())
    if box not in known:
        raise _refused("sowing", parts[1], f"one of {', '.join(known)}")
    day = today
    if len(parts) == 3:
        try:
            day = date.fromisoformat(parts[2])
        except ValueError:
            raise _refused("sowing", parts[2], "a day such as 2026-03-15") from None
        if day > today:
            raise _refused("sowing", parts[2], f"a day up to today ({today}); tell later sowings later")
    return parts[0].lower(), box, day.isoformat()


def yes(text: str) -> bool:
    """`y`, `yes`, `n`, `no`.

    Raises:
        InputError: neither.
    """
    word = text.strip().lower()
    if word in ("y", "yes"):
        return True
    if word in ("n", "no"):
        return False
    raise _refused("answer", text, "yes or no")


def _refused(what: str, got: str, expected: str) -> InputError:
    return InputError(f"{what}: got {got.strip()!r:.80}, expected {expected}")
