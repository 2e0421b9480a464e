"""The lowest air of nights, from the store's hourly sums.

Only hours that lie wholly inside count. A night's edges are its warm ends, so nothing is lost by it,
and a season of nights takes no more than a glance.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from propstick.engine.nights import night_of
from propstick.garden import OUTSIDE, Garden
from propstick.times import days_from
from propstick.units import FloatArray, IntArray
from propstick_api.deps import Site
from propstick_api.history import HOUR_S, hourly


@dataclass(frozen=True)
class Found:
    """A lowest value [°C], and the hour in which it was, UTC seconds at its beginning."""

    value_c: float
    hour_s: int


@dataclass(frozen=True)
class Hours:
    """One place hour by hour: UTC seconds and lowest value, NaN where there was none, (h,)."""

    hour_s: IntArray
    value_c: FloatArray

    def lowest(self, start_s: int, end_s: int) -> Found | None:
        """What the hours that lie wholly in the stretch came to; None without a reading."""
        first = int(np.searchsorted(self.hour_s, start_s))
        stop = int(np.searchsorted(self.hour_s, end_s - HOUR_S, side="right"))
        part = self.value_c[first:stop]
        if np.isnan(part).all():
            return None
        k = int(np.nanargmin(part))
        return Found(round(float(part[k]), 2), int(self.hour_s[first + k]))


Book = dict[tuple[date, str], Found]
"""(night, box) → what it came to; those without a reading are not in it."""


def air_hours(site: Site, garden: Garden, *, from_s: int, to_s: int) -> dict[str, Hours]:
    """The lowest air of each box, and outside, hour by hour."""
    found = {}
    for box in (*garden.box_names, OUTSIDE):
        hours = hourly(site.readings, garden, box, "air", which="low", from_s=from_s, to_s=to_s)
        if hours is not None:
            found[box] = Hours(*hours)
    return found


def night_lows(site: Site, garden: Garden, first: date, last: date) -> Book:
    """The lowest air of every night from `first` to `last`, in each box and outside."""
    nights = [night_of(garden.site, day) for day in days_from(first, last)]
    hours = air_hours(site, garden, from_s=nights[0].start_s, to_s=nights[-1].end_s)
    return {
        (night.date, box): found
        for box, mine in hours.items()
        for night in nights
        if (found := mine.lowest(night.start_s, night.end_s)) is not None
    }
