"""Which night or day it is. A night runs from one hour before sunset to one hour after sunrise, named
by the date it begins; a day from sunrise to sunset.

Without a position, or without a sunset (high summer and deep winter in the far north), 18:00 to
08:00 on the clock there, as if the sun set at 19:00 and rose at 07:00.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time, timedelta
from functools import lru_cache

from propstick.garden import Site
from propstick.physics import sun
from propstick.times import at_local, local_date

HOUR_S = 3600


@dataclass(frozen=True)
class Night:
    """One night; times in UTC seconds. `by_sun` is False where the clock had to stand in for the sun."""

    date: date
    sunset_s: int
    sunrise_s: int
    by_sun: bool

    @property
    def start_s(self) -> int:
        """One hour before sunset."""
        return self.sunset_s - HOUR_S

    @property
    def end_s(self) -> int:
        """One hour after sunrise."""
        return self.sunrise_s + HOUR_S

    def hours_left(self, time_s: float) -> float:
        """Hours from `time_s` to sunrise; negative after it."""
        return (self.sunrise_s - time_s) / HOUR_S

    def issue_hour(self, time_s: float) -> int:
        """Whole hours after sunset, rounded: -1 for the evening brief one hour before it."""
        return round((time_s - self.sunset_s) / HOUR_S)


@lru_cache(maxsize=4096)
def night_of(site: Site, day: date) -> Night:
    """The night that begins on `day`."""
    sets_s = rises_s = None
    if site.has_sun:
        sets_s = _event(site, day, rising=False)
        rises_s = _event(site, day + timedelta(days=1), rising=True)
    if sets_s is None or rises_s is None or rises_s <= sets_s:
        sets_s = at_local(day, time(19), site.zone)
        rises_s = at_local(day + timedelta(days=1), time(7), site.zone)
        return Night(day, sets_s, rises_s, by_sun=False)
    return Night(day, sets_s, rises_s, by_sun=True)


def night_ending_after(site: Site, time_s: float) -> Night:
    """The first night whose end is later than `time_s`: tonight, or the night that is not yet over."""
    day = local_date(time_s, site.zone) - timedelta(days=1)
    while night_of(site, day).end_s <= time_s:
        day += timedelta(days=1)
    return night_of(site, day)


@dataclass(frozen=True)
class Daylight:
    """One day from sunrise to sunset, UTC seconds; `by_sun` is False where the clock stood in."""

    date: date
    sunrise_s: int
    sunset_s: int
    by_sun: bool

    @property
    def noon_s(self) -> int:
        """Midway: within some minutes of solar noon."""
        return (self.sunrise_s + self.sunset_s) // 2


@lru_cache(maxsize=4096)
def daylight_of(site: Site, day: date) -> Daylight:
    """The daylight of a local date; from 07:00 to 19:00 where the sun is unknown or does not set."""
    rises_s = sets_s = None
    if site.has_sun:
        rises_s, sets_s = _event(site, day, rising=True), _event(site, day, rising=False)
    if rises_s is None or sets_s is None:
        zone = site.zone
        return Daylight(day, at_local(day, time(7), zone), at_local(day, time(19), zone), by_sun=False)
    return Daylight(day, rises_s, sets_s, by_sun=True)


def daylight_ending_after(site: Site, time_s: float) -> Daylight:
    """The first day whose sunset is later than `time_s`: today, or tomorrow once it has set."""
    day = local_date(time_s, site.zone) - timedelta(days=1)
    while daylight_of(site, day).sunset_s <= time_s:
        day += timedelta(days=1)
    return daylight_of(site, day)


def _event(site: Site, day: date, *, rising: bool) -> int | None:
    noon_s = at_local(day, time(12), None) - 240.0 * site.longitude  # the sun goes 1° in 240 s
    times = sun.sunrise_sunset(noon_s, site.latitude, site.longitude)
    event_s = times.rise_s if rising else times.set_s
    return None if event_s is None else round(event_s)
