"""UTC seconds, local days and the sampling grid. Nothing here asks what time it is.

Times are integers: UTC seconds since 1970 for rows (`time_s`), milliseconds for single readings
(`time_ms`). Text is RFC 3339 and always ends in `Z` on the way out.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from propstick.errors import InputError

DAY_S = 86_400
EARLIEST_S = 946_684_800
"""2000-01-01T00:00:00Z. No probe of ours logged before it; an unset clock does."""


@lru_cache(maxsize=64)
def zone(name: str) -> ZoneInfo:
    """The IANA time zone of that name.

    Raises:
        InputError: no such zone in the tz database.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(
            f"time zone: got {name!r}, expected a name of the IANA tz database such as 'Europe/Dublin'",
            hint="use Region/City, or UTC",
        ) from None


def utc_text(time_s: float) -> str:
    """RFC 3339 in UTC, whole seconds: `2026-03-15T04:40:00Z`."""
    return datetime.fromtimestamp(int(time_s), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def local(time_s: float, zone_name: str | None) -> datetime:
    """The moment on the clock of that zone (UTC where the zone is unknown)."""
    return datetime.fromtimestamp(int(time_s), zone(zone_name) if zone_name else UTC)


def clock_text(time_s: float, zone_name: str | None, *, twelve_hour: bool = False) -> str:
    """A time of day on the clock of that zone: `17:40`, or `5:40 pm`."""
    at = local(time_s, zone_name)
    if not twelve_hour:
        return f"{at:%H:%M}"
    return f"{at.hour % 12 or 12}:{at:%M} {'am' if at.hour < 12 else 'pm'}"


def local_date(time_s: float, zone_name: str | None) -> date:
    """The calendar day a person there calls today."""
    return local(time_s, zone_name).date()


def at_local(day: date, clock: time, zone_name: str | None) -> int:
    """UTC seconds at which a clock on the wall there shows `clock` on `day`.

    A time the clock skips in spring is read as the moment the hands jump past it; of a doubled hour
    in autumn the first is meant (PEP 495, fold=0).
    """
    return int(datetime.combine(day, clock, zone(zone_name) if zone_name else UTC).timestamp())


def days_from(first: date, last: date) -> list[date]:
    """Every calendar day from `first` to `last`, both included."""
    return [first + timedelta(days=k) for k in range((last - first).days + 1)]


def row_at_or_before(time_s: float, step_s: int) -> int:
    """The latest grid row that is not after `time_s`."""
    return int(time_s // step_s) * step_s


def row_of_reading(time_ms: int, step_s: int) -> int:
    """The grid row that takes a reading: the first one at or after it, UTC seconds.

    Row t takes each probe's last value in (t - step, t].
    """
    step_ms = step_s * 1000
    return -(-time_ms // step_ms) * step_s


def hours_minutes(text: str) -> time:
    """A time of day such as `07:30`.

    Raises:
        InputError: anything else.
    """
    try:
        hour, minute = text.split(":")
        if not (1 <= len(hour) <= 2 and len(minute) == 2):
            raise ValueError
        return time(int(hour), int(minute))
    except ValueError:
        raise InputError(f"time of day: got {text!r}, expected HH:MM from 00:00 to 23:59") from None
