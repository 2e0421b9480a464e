"""Times and days as they come in with a request: read one way only, within what can be computed."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Annotated

from fastapi import Query

from propstick.errors import InputError
from propstick.times import DAY_S, at_local, local_date, zone

FIRST_YEAR, LAST_YEAR = 1971, 2199
"""No reading is older, no plan reaches further; beyond, calendars and clocks run over."""
LONGEST_SPAN_DAYS = 800

When = Annotated[str | None, Query(max_length=40, description="A day on the site's calendar, or RFC 3339")]
"""A moment as a route takes it, for `span` to read."""


def moment(text: str, zone_name: str | None, *, what: str, is_end: bool = False) -> int:
    """UTC seconds of RFC 3339, of a time on the site's clock, or of a day there (as an end: its last).

    Raises:
        InputError: neither, or a year that no garden was watched in.
    """
    expected = "a day such as 2026-03-01 or a time such as 2026-03-01T06:00:00Z"
    try:
        if len(text) == len("2026-03-01"):
            day = in_years(date.fromisoformat(text), what=what)
            return at_local(day + timedelta(days=1) if is_end else day, time(0), zone_name)
        # A plus sign that was not escaped in an address has become a blank.
        when = datetime.fromisoformat(text.replace(" ", "+") if "T" in text else text)
    except InputError:
        raise
    except (ValueError, OverflowError):
        raise InputError(f"{what}: got {text[:40]!r}, expected {expected}") from None
    in_years(when.date(), what=what)
    aware = when if when.tzinfo else when.replace(tzinfo=zone(zone_name or "UTC"))
    return int(aware.timestamp())


def in_years(day: date, *, what: str) -> date:
    """The day, if its year is one that can be.

    Raises:
        InputError: it is not.
    """
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise InputError(f"{what}: got the year {day.year}, expected {FIRST_YEAR} to {LAST_YEAR}")
    return day


def span(
    begin: str | None, end: str | None, *, zone_name: str | None, now_s: int, default_s: int
) -> tuple[int, int]:
    """From and to of a request, UTC seconds; up to now and `default_s` back where they are not given.

    Raises:
        InputError: one cannot be read, they are the wrong way round, or too far apart.
    """
    to_s = now_s if end is None else moment(end, zone_name, what="to", is_end=True)
    from_s = to_s - default_s if begin is None else moment(begin, zone_name, what="from")
    if from_s >= to_s:
        raise InputError(f"from: got {begin or 'nothing'} with to {end or 'now'}, expected from before to")
    if to_s - from_s > LONGEST_SPAN_DAYS * DAY_S:
        raise _too_long((to_s - from_s) // DAY_S)
    return from_s, to_s


def day_span(
    begin: date | None, end: date | None, *, zone_name: str | None, now_s: int, default_days: int
) -> tuple[date, date]:
    """First and last day of a request, both included.

    Raises:
        InputError: as for `span`.
    """
    last = local_date(now_s, zone_name) if end is None else in_years(end, what="to")
    first = last - timedelta(days=default_days - 1) if begin is None else in_years(begin, what="from")
    if first > last:
        raise InputError(f"from: got {first} with to {last}, expected a day not after it")
    days = (last - first).days + 1
    if days > LONGEST_SPAN_DAYS:
        raise _too_long(days)
    return first, last


def _too_long(days: int) -> InputError:
    return InputError(f"from and to: got {days} days, expected at most {LONGEST_SPAN_DAYS}")
