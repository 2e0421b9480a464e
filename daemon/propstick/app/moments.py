"""Times and days as a person or a request writes them: read one way only, within what can be computed."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

from propstick.errors import InputError
from propstick.times import at_local, zone

FIRST_YEAR, LAST_YEAR = 1971, 2199
"""No reading is older, no plan reaches further; beyond, calendars and clocks run over."""


def moment(text: str, zone_name: str | None, *, what: str, is_end: bool = False) -> int:
    """UTC seconds of RFC 3339, of a time on the site's clock, or of a day there (as an end: its last).

    Args:
        what: The option or the parameter, for the error.

    Raises:
        InputError: neither, or a year that no garden was watched in.
    """
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return _time(text, zone_name, what)
    in_years(day, what=what)
    return at_local(day + timedelta(days=1) if is_end else day, time(0), zone_name)


def _time(text: str, zone_name: str | None, what: str) -> int:
    try:
        # A plus sign that was not escaped in an address has become a blank.
        when = datetime.fromisoformat(text.replace(" ", "+") if "T" in text else text)
    except (ValueError, OverflowError):
        expected = "a day such as 2026-03-01 or a time such as 2026-03-01T06:00:00Z"
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
