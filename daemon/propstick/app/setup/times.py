"""Times of day and days of the week as a person says them on the first evening.

What could be meant in two ways is refused with what was expected: a wrong bed time keeps a warning back.
"""

from __future__ import annotations

import re
from datetime import time

from propstick.app.garden_file.models import WEEKDAYS
from propstick.app.setup.understood import NOTHING, refused
from propstick.errors import InputError
from propstick.times import hours_minutes

MOST_IN_BED_H = 14
"""Longer is a slip (`10 6` for ten in the evening), and would hold back notices by day. Our choice."""

_CLOCK = r"\d{1,2}(?:[:.]\d\d)?(?:\s*[ap]\.?m\.?)?"
_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_SPANS = {
    "every day": range(7), "everyday": range(7), "daily": range(7), "all": range(7),
    "weekdays": range(5), "workdays": range(5), "working days": range(5),
    "weekend": range(5, 7), "weekends": range(5, 7),
}  # fmt: skip


def times_of_day(text: str, *, what: str) -> tuple[str, str]:
    """`8:00 17:30`, `8-17.30`, `8am to 5:30pm`.

    Raises:
        InputError: not two times of day.
    """
    apart = rf"({_CLOCK})(?:\s*(?:to|and|until|[,;–-])\s*|\s+)({_CLOCK})"
    match = re.fullmatch(apart, text.strip().lower())
    if match is None:
        raise refused(what, text, "two times such as 08:00 17:30")
    first, second = (_time(word, text, what) for word in match.groups())
    return f"{first:%H:%M}", f"{second:%H:%M}"


def _time(word: str, text: str, what: str) -> time:
    match = re.fullmatch(r"(\d{1,2})(?:[:.](\d\d))?\s*([ap])?[.m]*", word)
    assert match is not None
    hour = int(match[1])
    if match[3]:
        if not 1 <= hour <= 12:
            raise refused(what, text, "two times such as 8am 5:30pm")
        hour = hour % 12 + (12 if match[3] == "p" else 0)
    try:
        return hours_minutes(f"{hour}:{match[2] or '00'}")
    except InputError:
        raise refused(what, text, "two times such as 08:00 17:30") from None


def away(text: str) -> tuple[str, ...]:
    """When one leaves and comes back; `never` gives nothing.

    Raises:
        InputError: not two times, or back before leaving.
    """
    if text.strip().lower() in NOTHING:
        return ()
    leaves, back = times_of_day(text, what="away")
    if leaves >= back:
        raise refused("away", text, "leaving, and a return later on the same day; or never")
    return leaves, back


def night(text: str) -> tuple[str, str]:
    """When one goes to bed and rises.

    Raises:
        InputError: not two different times, or too long in bed.
    """
    bed, rises = times_of_day(text, what="night")
    if bed == rises:
        raise refused("night", text, "two different times such as 22:30 06:30")
    if (_minutes(rises) - _minutes(bed)) % 1440 > MOST_IN_BED_H * 60:
        raise refused(
            "night",
            text,
            f"bed, then getting up at most {MOST_IN_BED_H} hours later, such as 22:30 06:30 or 10pm 6am",
        )
    return bed, rises


def _minutes(clock: str) -> int:
    return int(clock[:2]) * 60 + int(clock[3:])


def days(text: str) -> tuple[str, ...]:
    """`mon-fri`, `mon tue sat`, `weekdays`, `every day`, in the order of the week.

    Raises:
        InputError: a word that is no day.
    """
    plain = text.strip().lower()
    if plain in _SPANS:
        return tuple(WEEKDAYS[k] for k in _SPANS[plain])
    chosen: set[int] = set()
    plain = re.sub(r"\s*(?:-|–|\bto\b)\s*", "-", re.sub(r"\band\b", " ", plain))
    for part in re.split(r"[,;\s]+", plain):
        ends = [_weekday(word, text) for word in part.split("-")]
        if len(ends) > 2:
            raise refused("days", text, "days such as mon-fri, or mon tue sat")
        first, last = ends[0], ends[-1]
        chosen |= {k % 7 for k in range(first, last + 1 if last >= first else last + 8)}
    return tuple(WEEKDAYS[k] for k in sorted(chosen))


def _weekday(word: str, text: str) -> int:
    """`mon`, `tues`, `Fridays`; not `monkey`."""
    for k, name in enumerate(_DAYS):
        if word == f"{name}s" or (len(word) >= 3 and name.startswith(word)):
            return k
    raise refused("days", text, "days such as mon-fri, or mon tue sat")
