"""The stretch of time a request asks for: from and to, their defaults, and how long it may be."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Annotated

from fastapi import Query

from propstick.app.moments import in_years, moment
from propstick.errors import InputError
from propstick.times import DAY_S, local_date

LONGEST_SPAN_DAYS = 800

When = Annotated[str | None, Query(max_length=40, description="A day on the site's calendar, or RFC 3339")]
"""A moment as a route takes it, for `span` to read."""


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
