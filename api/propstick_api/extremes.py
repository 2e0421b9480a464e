"""The lowest air of nights and the highest of days, from the store's hourly sums.

Only hours that lie wholly inside count. A night's edges are its warm ends and a day's its cold ones, so
nothing is lost by it, and a season of nights takes no more than a glance.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time, timedelta

import numpy as np

from propstick.engine.nights import night_of
from propstick.garden import OUTSIDE, Garden
from propstick.times import at_local, days_from
from propstick.units import FloatArray, IntArray
from propstick_api.deps import Site
from propstick_api.history import HOUR_S, hourly

_MIDNIGHT = time(0)


@dataclass(frozen=True)
class Found:
    """A lowest or highest value [°C], and the hour in which it was, UTC seconds at its beginning."""

    value_c: float
    hour_s: int


@dataclass(frozen=True)
class Hours:
    """One place hour by hour: UTC seconds and lowest (or highest) value, NaN where there was none, (h,)."""

    hour_s: IntArray
    value_c: FloatArray
    is_low: bool

    def between(self, start_s: int, end_s: int) -> Found | None:
        """What the hours that lie wholly in the stretch came to; None without a reading."""
        first = int(np.searchsorted(self.hour_s, start_s))
        stop = int(np.searchsorted(self.hour_s, end_s - HOUR_S, side="right"))
        part = self.value_c[first:stop]
        if np.isnan(part).all():
            return None
        k = int(np.nanargmin(part) if self.is_low else np.nanargmax(part))
        return Found(round(float(part[k]), 2), int(self.hour_s[first + k]))


Book = dict[tuple[date, str], Found]
"""(night or day, box) → what it came to; those without a reading are not in it."""


def air_hours(site: Site, garden: Garden, *, from_s: int, to_s: int, which: str) -> dict[str, Hours]:
    """The air of each box, and outside, hour by hour; `which` is `low` or `high`."""
    found = {}
    for box in (*garden.box_names, OUTSIDE):
        hours = hourly(site.readings, garden, box, "air", which=which, from_s=from_s, to_s=to_s)
        if hours is not None:
            found[box] = Hours(*hours, is_low=which == "low")
    return found


def night_lows(site: Site, garden: Garden, first: date, last: date) -> Book:
    """The lowest air of every night from `first` to `last`, in each box and outside."""
    nights = [night_of(garden.site, day) for day in days_from(first, last)]
    return _book(site, garden, [(n.date, n.start_s, n.end_s) for n in nights], "low")


def day_highs(site: Site, garden: Garden, first: date, last: date) -> Book:
    """The highest air of every day on the site's calendar, in each box and outside."""
    days = days_from(first, last + timedelta(days=1))
    starts_s = [at_local(day, _MIDNIGHT, garden.site.zone) for day in days]
    return _book(site, garden, list(zip(days[:-1], starts_s[:-1], starts_s[1:], strict=True)), "high")


def _book(site: Site, garden: Garden, windows: list[tuple[date, int, int]], which: str) -> Book:
    hours = air_hours(site, garden, from_s=windows[0][1], to_s=windows[-1][2], which=which)
    return {
        (day, box): found
        for box, mine in hours.items()
        for day, start_s, end_s in windows
        if (found := mine.between(start_s, end_s)) is not None
    }
