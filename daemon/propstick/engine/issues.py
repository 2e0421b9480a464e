"""When forecasts are issued (design §2): the rows of a stretch on which one falls due.

Night: at the evening brief, two hours after sunset, then hourly. Day: at the morning brief, one hour
after sunrise, then every two hours until solar noon. Dusk is when frost is told of.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

import numpy as np

from propstick.engine.briefs import BriefMemory, Which
from propstick.engine.nights import HOUR_S, daylight_of, night_of
from propstick.engine.schedule import Day
from propstick.garden import Garden
from propstick.units import IntArray

NIGHT_FIRST_S = 2 * HOUR_S
DUSK_S = HOUR_S // 2
"""After sunset: late enough to see the evening cool, early enough to go out once more."""
BEFORE_BED_S = HOUR_S
FROST_LAST_S = 2 * HOUR_S
"""Before sunrise: after that the night has said what it had to say."""


def night_rows(garden: Garden, day: Day, time_s: IntArray, before_s: int) -> list[int]:
    """Rows on which a night forecast is issued."""
    due = [day.evening_s]
    for night in _nights(garden, day):
        due += range(night.sunset_s + NIGHT_FIRST_S, night.sunrise_s + 1, HOUR_S)
    return _rows(due, time_s, before_s)


def frost_rows(garden: Garden, day: Day, time_s: int | IntArray, before_s: int) -> list[int]:
    """Rows on which tonight's frost is judged: from dusk, at the latest an hour before bed."""
    due = []
    for night in _nights(garden, day):
        first_s = night.sunset_s + DUSK_S
        if night.date == day.date:
            first_s = max(min(first_s, day.quiet_from_s - BEFORE_BED_S), night.start_s)
        due += [first_s, *range(night.sunset_s + NIGHT_FIRST_S, night.sunrise_s - FROST_LAST_S, HOUR_S)]
    return _rows(due, time_s, before_s)


def night_end_rows(garden: Garden, day: Day, time_s: IntArray, before_s: int) -> list[int]:
    """Rows on which a night is over."""
    return _rows([night.end_s for night in _nights(garden, day)], time_s, before_s)


def day_rows(garden: Garden, day: Day, time_s: IntArray, before_s: int) -> list[int]:
    """Rows on which a day forecast is issued."""
    light = daylight_of(garden.site, day.date)
    due = [day.morning_s] if day.morning_s < light.noon_s else []
    due += range(light.sunrise_s + HOUR_S, light.noon_s + 1, 2 * HOUR_S)
    return _rows(due, time_s, before_s)


def brief_rows(which: Which, day: Day, time_s: IntArray, sent: BriefMemory) -> list[int]:
    """The row on which the timeline will send a brief, as a list of one or none."""
    due_s = day.morning_s if which == "morning" else day.evening_s
    row = int(np.searchsorted(time_s, due_s, side="left"))
    return [row] if row < len(time_s) and sent.is_due(which, day, int(time_s[row])) else []


def _nights(garden: Garden, day: Day) -> list:
    return [night_of(garden.site, day.date - timedelta(days=k)) for k in (1, 0)]


def _rows(due_s: Iterable[int], time_s: IntArray, before_s: int) -> list[int]:
    """Indices of the first rows not before each time; only what fell due since the row before."""
    inside = [at for at in due_s if before_s < at <= time_s[-1]]
    return sorted({int(np.searchsorted(time_s, at, side="left")) for at in inside})
