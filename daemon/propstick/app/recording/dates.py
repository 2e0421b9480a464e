"""Times as loggers and spreadsheets write them, as RFC 3339 where they can mean one thing only.

Day and month between dots stand in that order, a year in front is followed by the month, and `AM` or
`PM` tells the hour. Of `03/04/2025` only the whole column tells: a thirteenth of the month in it says
which figure is the day. Without one it is refused: the night of another month would be foretold.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from itertools import islice

from propstick.app.recording.clock import moment_ms
from propstick.app.recording.problems import Problems, shown

Form = Callable[[str], str | None]
"""A time as written to the same in RFC 3339, None where it is not of that form."""

_LOOKED_AT = 20
_CLOCK = r"(\d{1,2}):(\d\d)(?::(\d\d(?:[.,]\d+)?))?\s*([AaPp]\.?[Mm]\.?)?\s*([Zz]|[+-]\d\d:?\d\d)?"
_BETWEEN = r"(?:\s+|,\s*|[Tt])"
_YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})" + _BETWEEN + _CLOCK, re.ASCII)
_YEAR_LAST = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})" + _BETWEEN + _CLOCK, re.ASCII)
_SINCE_1970 = re.compile(r"(\d{9,10})(?:\.\d+)?|(\d{12,13})", re.ASCII)


def form_of(column: Iterable[tuple[int, str]], problems: Problems) -> Form | None:
    """The form of a time column that is not written as RFC 3339; None where it is, or where none is known.

    Args:
        column: Line and text from the first row on; read to the end only where the first rows do not tell.

    Raises:
        InputError: day and month cannot be told apart.
    """
    column = iter(column)
    head = [(line, text.strip()) for line, text in islice(column, _LOOKED_AT)]
    if any(moment_ms(text) is not None for _, text in head):
        return None
    for line, text in head:
        if _SINCE_1970.fullmatch(text):
            problems.note("times in seconds or milliseconds since 1970")
            return _since_1970
        for pattern in (_YEAR_FIRST, _YEAR_LAST):
            if found := pattern.fullmatch(text):
                if found[8]:
                    problems.note("times on the clock of twelve hours")
                if pattern is _YEAR_FIRST:
                    return _year_first
                if found[2] == ".":
                    problems.note("dates read as day.month.year")
                    return _day_first
                return _by_the_column((text for _, text in (*head, *column)), text, line, problems)
    return None


def _by_the_column(texts: Iterable[str], example: str, line: int, problems: Problems) -> Form:
    """Whether the day or the month stands first: what no month can be tells."""
    found = [match for text in texts if (match := _YEAR_LAST.fullmatch(text.strip()))]
    day_first, day_second = (any(int(match[k]) > 12 for match in found) for k in (1, 3))
    if day_first == day_second:
        raise problems.refusal(
            shown(example),
            expected="RFC 3339 such as 2026-03-15T04:40:00Z",
            line=line,
            column="time",
            hint="day and month cannot be told apart; write the year first, then month and day",
        )
    sign = found[0][2]
    problems.note(f"dates read as {sign.join(('day', 'month') if day_first else ('month', 'day'))}{sign}year")
    return _day_first if day_first else _month_first


def _since_1970(text: str) -> str | None:
    match = _SINCE_1970.fullmatch(text)
    if match is None:
        return None
    seconds = int(match[1]) if match[1] else int(match[2]) / 1000
    return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds")


def _year_first(text: str) -> str | None:
    match = _YEAR_FIRST.fullmatch(text)
    return match and _written(match[1], match[3], match[4], match)


def _day_first(text: str) -> str | None:
    match = _YEAR_LAST.fullmatch(text)
    return match and _written(match[4], match[3], match[1], match)


def _month_first(text: str) -> str | None:
    match = _YEAR_LAST.fullmatch(text)
    return match and _written(match[4], match[1], match[3], match)


def _written(year: str, month: str, day: str, match: re.Match[str]) -> str | None:
    hour, minute, second, half, offset = match.groups()[4:]
    h = int(hour)
    if half:
        if not 1 <= h <= 12:
            return None
        h = h % 12 + (12 if half[0] in "Pp" else 0)
    return f"{year}-{int(month):02}-{int(day):02}T{h:02}:{minute}:{second or '00'}{offset or ''}"
