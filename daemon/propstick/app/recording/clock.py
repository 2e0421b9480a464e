"""The time column: RFC 3339 text to UTC milliseconds, with or without an offset."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from propstick.app.recording.problems import Problems, shown
from propstick.units import IntArray

UNREADABLE = np.iinfo(np.int64).min
"""Stands for a time that is none."""

_HOUR_MS = 3_600_000
_DAY_MS = 24 * _HOUR_MS
_MS = timedelta(milliseconds=1)
_EPOCH_DAY = date(1970, 1, 1).toordinal()
_TIME = re.compile(
    r"(\d{4}-\d\d-\d\d)[Tt ](\d\d):(\d\d)(?::(\d\d)(?:[.,](\d{1,12}))?)? ?([Zz]|[+-]\d\d(?::?\d\d)?)?",
    re.ASCII,
)
_OFFSET = re.compile(r"[+-]\d\d:?\d\d", re.ASCII)


@lru_cache(maxsize=1024)
def _day_ms(text: str) -> int:
    return (date.fromisoformat(text).toordinal() - _EPOCH_DAY) * _DAY_MS


def _offset_ms(text: str) -> int:
    hours, minutes = int(text[1:3]), int(text[3:].lstrip(":") or 0)
    if hours > 23 or minutes > 59:
        raise ValueError(text)
    return (hours * 60 + minutes) * 60_000 * (-1 if text[0] == "-" else 1)


def moment_ms(text: str) -> tuple[int, bool] | None:
    """Milliseconds since 1970 of one time, and whether it carried an offset; None if it is no time.

    Without an offset the figure is that of the wall clock. `24:00` is the next day's start and second
    60 (a leap second) the next minute's.
    """
    match = _TIME.fullmatch(text)
    if match is None:
        return None
    day, hour, minute, second, fraction, offset = match.groups()
    h, m, s = int(hour), int(minute), int(second or 0)
    if m > 59 or s > 60 or h > 24 or (h == 24 and (m or s)):
        return None
    try:
        ms = _day_ms(day) + ((h * 60 + m) * 60 + s) * 1000 + int((fraction or "0")[:3].ljust(3, "0"))
        if offset is None:
            return ms, False
        return (ms if offset in "Zz" else ms - _offset_ms(offset)), True
    except ValueError:
        return None


class TimeColumn:
    """Reads the times of a recording in order; remembers the last, for the doubled hour in autumn."""

    def __init__(
        self, zone: ZoneInfo | None, problems: Problems, form: Callable[[str], str | None] | None = None
    ) -> None:
        """`form` puts a time into the form of RFC 3339 where the file writes it otherwise."""
        self._form = form
        self._zone = zone
        self._problems = problems
        self._last_ms: int | None = None
        self._step_ms = 0

    def read(self, texts: Sequence[str], lines: Sequence[int]) -> IntArray:
        """UTC milliseconds of each text, `UNREADABLE` where it is no time.

        Raises:
            InputError: a time without an offset, and no zone is known.
        """
        fast = _all_alike(texts)
        if fast is not None:
            self._last_ms = int(fast[-1])
            return fast
        times = np.empty(len(texts), dtype=np.int64)
        for k, text in enumerate(texts):
            found = self._moment_ms(text.strip())
            if found is None:
                times[k] = UNREADABLE
                self._problems.note(f"a time that is none, such as {shown(text.strip())}", lines[k])
                continue
            ms, has_offset = found
            times[k] = ms if has_offset else self._from_wall(ms, text, lines[k])
            if self._last_ms is not None and times[k] > self._last_ms:
                self._step_ms = int(times[k]) - self._last_ms
            self._last_ms = int(times[k])
        return times

    def _moment_ms(self, text: str) -> tuple[int, bool] | None:
        found = moment_ms(text)
        if found is not None or self._form is None:
            return found
        formed = self._form(text)
        return None if formed is None else moment_ms(formed)

    def _from_wall(self, wall_ms: int, text: str, line: int) -> int:
        """UTC of a wall-clock time; of a doubled hour the pass that keeps the rows in order."""
        if self._zone is None:
            raise self._problems.refusal(
                f"{shown(text.strip())} without an offset",
                expected="a time that ends in Z or an offset such as +02:00",
                line=line,
                column="time",
                hint="name the zone of the clock: --site LAT,LON,ZONE, or --garden FILE",
            )
        first, second = _both_passes(wall_ms, self._zone)
        if first == second:
            return first
        if first > second:  # the hour the clock skips in spring: no such wall time
            self._problems.note("a time the clock skips in spring, read as winter time", line)
            return first
        self._problems.note("times in the doubled hour of autumn, taken in order", line)
        last = self._last_ms
        if last is None or first > last:
            return first
        # The same time again: the second pass of hourly rows, but a doubled row of quicker ones.
        return first if first == last and self._step_ms < second - first else second


@lru_cache(maxsize=4096)
def _plain_offset_ms(quarter: int, zone: ZoneInfo) -> int | None:
    """Offset of a quarter hour of the wall clock (counted from 1970), None where it is not one only."""
    start = datetime(1970, 1, 1) + timedelta(minutes=15 * quarter)
    found = {
        (start + timedelta(minutes=minute)).replace(tzinfo=zone, fold=fold).utcoffset()
        for minute in (0, 14)
        for fold in (0, 1)
    }
    offset = found.pop()
    return None if found or offset is None else offset // _MS


def _both_passes(wall_ms: int, zone: ZoneInfo) -> tuple[int, int]:
    try:
        offset_ms = _plain_offset_ms(wall_ms // (15 * 60_000), zone)
        if offset_ms is not None:
            return wall_ms - offset_ms, wall_ms - offset_ms
        wall = datetime(1970, 1, 1) + timedelta(milliseconds=wall_ms)
        passes = [wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)]
    except OverflowError:  # the first or last days of the calendar
        return wall_ms, wall_ms
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    first, second = ((p - epoch) // _MS for p in passes)
    return first, second


def _all_alike(texts: Sequence[str]) -> IntArray | None:
    """All times at once where every one is `YYYY-MM-DDTHH:MM:SS` with the same offset; else None."""
    suffixes = {text[19:] for text in texts}
    if len(suffixes) != 1:
        return None
    suffix = suffixes.pop()
    if suffix not in ("Z", "z") and not _OFFSET.fullmatch(suffix):
        return None
    if not all(len(t) > 19 and t[10] in "Tt " and t[0] in "012" and t[13] == t[16] == ":" for t in texts):
        return None
    try:
        times = np.array([text[:19].upper() for text in texts], dtype="datetime64[ms]").astype(np.int64)
        return times - (0 if suffix in "Zz" else _offset_ms(suffix))
    except ValueError:
        return None
