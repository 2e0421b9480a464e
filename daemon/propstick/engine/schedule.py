"""When things are due on a local date: briefs, the quiet hours, the hours away, daylight.

All from the garden and the date alone, so that the same row always falls into the same hour. Where the
sun is unknown, or does not set, the clock stands in for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time, timedelta
from functools import lru_cache

from propstick.garden import Garden, Site
from propstick.physics import sun
from propstick.times import DAY_S, at_local

NOON = time(12)
EVENING_WITHOUT_SUN = time(18)
MORNING_AFTER_RISING_S = 3600
SUN_NEAR_S = 3600
EVENING_BEFORE_BED_S = 3600


@dataclass(frozen=True)
class Sun:
    """Sunrise and sunset of a date in UTC seconds; `known` is False without a position.

    In the polar day `rise_s` and `set_s` enclose the whole date, in the polar night nothing.
    """

    rise_s: int
    set_s: int
    known: bool
    sets: bool


@dataclass(frozen=True)
class Day:
    """What is due on one local date, UTC seconds.

    Attributes:
        morning_s, evening_s: The briefs.
        leaves_s, back_s: The hours away; None on a day at home.
        quiet_since_s, quiet_until_s: The quiet hours that begin with the date, or soon after midnight.
        quiet_from_s: Beginning of the quiet hours at its end.
    """

    date: date
    start_s: int
    stop_s: int
    sun: Sun
    morning_s: int
    evening_s: int
    leaves_s: int | None
    back_s: int | None
    quiet_since_s: int
    quiet_until_s: int
    quiet_from_s: int

    def is_quiet(self, time_s: int) -> bool:
        """Between bed and rising."""
        return self.quiet_since_s <= time_s < self.quiet_until_s or time_s >= self.quiet_from_s

    def sun_undoes(self, begun_s: int | None, time_s: int) -> bool:
        """Whether the sun does what a hand would: near sunrise, and by day for a cold of the night."""
        sun = self.sun
        if not sun.sets or not sun.rise_s - SUN_NEAR_S <= time_s < sun.set_s:
            return False
        return begun_s is None or begun_s < sun.rise_s + SUN_NEAR_S

    def is_away(self, time_s: int) -> bool:
        """Away from home by plan."""
        return self.leaves_s is not None and self.back_s is not None and self.leaves_s <= time_s < self.back_s

    def moments(self) -> tuple[int, ...]:
        """The times of this date at which what may be told changes, or a brief is due."""
        away = () if self.leaves_s is None or self.back_s is None else (self.leaves_s, self.back_s)
        return (
            self.morning_s,
            self.evening_s,
            *away,
            self.quiet_since_s,
            self.quiet_until_s,
            self.quiet_from_s,
        )


@lru_cache(maxsize=2048)
def sun_on(site: Site, day: date) -> Sun:
    """The sun of a local date."""
    start_s = at_local(day, time(0), site.zone)
    if site.latitude is None or site.longitude is None:
        return Sun(start_s, start_s + DAY_S, known=False, sets=False)
    noon_s = at_local(day, NOON, None) - 240.0 * site.longitude  # the sun goes 1° in 240 s
    times = sun.sunrise_sunset(noon_s, site.latitude, site.longitude)
    if times.rise_s is None or times.set_s is None:
        stop_s = start_s + DAY_S + 7200 if times.day_length_s > 0 else start_s
        return Sun(start_s, stop_s, known=True, sets=False)
    return Sun(round(times.rise_s), round(times.set_s), known=True, sets=True)


@lru_cache(maxsize=2048)
def day_of(garden: Garden, day: date) -> Day:
    """What is due on a local date."""
    zone, person, notices = garden.site.zone, garden.person, garden.notices

    start_s = at_local(day, time(0), zone)

    def clock(at: time, *, evening: bool = False) -> int:
        # Bed after midnight belongs to the evening before.
        later = evening and at < NOON
        return at_local(day + timedelta(days=1) if later else day, at, zone)

    quiet_from = notices.quiet_from or person.bed
    quiet_until = notices.quiet_until or person.rises
    bed_s, rises_s = clock(person.bed, evening=True), clock(person.rises)
    sun_today = sun_on(garden.site, day)
    if person.goes_away and day.weekday() in person.away_days:
        leaves_s, back_s = clock(person.leaves), clock(person.back)  # type: ignore[arg-type]
        if back_s <= leaves_s:  # back after midnight
            back_s += DAY_S
        morning_s = leaves_s - round(60 * notices.morning_before_minutes)
    else:
        leaves_s = back_s = None
        morning_s = rises_s + MORNING_AFTER_RISING_S
    dusk_s = clock(EVENING_WITHOUT_SUN)
    if sun_today.sets:
        dusk_s = sun_today.set_s - round(60 * notices.evening_before_minutes)
    return Day(
        date=day,
        start_s=start_s,
        stop_s=at_local(day + timedelta(days=1), time(0), zone),
        sun=sun_today,
        morning_s=morning_s,
        evening_s=min(dusk_s, bed_s - EVENING_BEFORE_BED_S),
        leaves_s=leaves_s,
        back_s=back_s,
        quiet_since_s=clock(quiet_from) if quiet_from < NOON else start_s,
        quiet_until_s=clock(quiet_until),
        quiet_from_s=clock(quiet_from, evening=True),
    )
