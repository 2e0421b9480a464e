"""The lowest air of nights and the highest of days, from the store's hourly sums.

Only hours that lie wholly inside count. A night's edges are its warm ends and a day's its cold ones, so
nothing is lost by it, and a season of nights takes no more than a glance.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
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


Book = dict[tuple[date, str], Found]
"""(night or day, box) → what it came to; those without a reading are not in it."""


def night_lows(site: Site, garden: Garden, first: date, last: date) -> Book:
    """The lowest air of every night from `first` to `last`, in each box and outside."""
    nights = [night_of(garden.site, day) for day in days_from(first, last)]
    return _book(site, garden, [(n.date, n.start_s, n.end_s) for n in nights], "low")


def day_highs(site: Site, garden: Garden, first: date, last: date) -> Book:
    """The highest air of every day on the site's calendar, in each box and outside."""
    days = days_from(first, last + timedelta(days=1))
    starts_s = [at_local(day, _MIDNIGHT, garden.site.zone) for day in days]
    windows = list(zip(days[:-1], starts_s[:-1], starts_s[1:], strict=True))
    return _book(site, garden, windows, "high")


def _book(site: Site, garden: Garden, windows: list[tuple[date, int, int]], which: str) -> Book:
    book: Book = {}
    span = {"from_s": windows[0][1], "to_s": windows[-1][2]}
    for box in (*garden.box_names, OUTSIDE):
        found = hourly(site.readings, garden, box, "air", which=which, **span)
        if found is not None:
            book |= {(day, box): one for day, one in _of_windows(*found, windows, which)}
    return book


def _of_windows(
    hour_s: IntArray, value: FloatArray, windows: list[tuple[date, int, int]], which: str
) -> Iterable[tuple[date, Found]]:
    choose: Callable[[FloatArray], np.intp] = np.nanargmin if which == "low" else np.nanargmax
    for day, start_s, end_s in windows:
        first = int(np.searchsorted(hour_s, start_s))
        stop = int(np.searchsorted(hour_s, end_s - HOUR_S, side="right"))
        part = value[first:stop]
        if np.isnan(part).all():
            continue
        k = int(choose(part))
        yield day, Found(round(float(part[k]), 2), int(hour_s[first + k]))
