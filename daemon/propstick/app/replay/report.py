"""What a replay found: the object of `propstick replay --json`, and the observed extremes in it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from typing import Any

import numpy as np

from propstick.app.place_series import Series, place_series
from propstick.app.recording import Recording
from propstick.blocks import FAULT_BITS, Flag
from propstick.engine.nights import night_of
from propstick.garden import OUTSIDE, Garden
from propstick.grid import ReadingColumns
from propstick.news import CoverTold
from propstick.records import Alarm, Brief, DayForecast, HeatForecast, LidOpening, NightForecast, Notice
from propstick.times import at_local, days_from, local_date, utc_text

_MIDNIGHT = time(0)


@dataclass(frozen=True, kw_only=True)
class Observed:
    """The lowest air of a box's night, or the highest of its day.

    Attributes:
        value_c, at_s: None where no good reading fell into it.
        whole: Whether the recording covers it from beginning to end.
    """

    box: str
    date: date
    value_c: float | None
    at_s: int | None
    whole: bool


@dataclass(frozen=True, kw_only=True)
class Report:
    """A replayed stretch: what would have been said, beside what was measured.

    Attributes:
        garden: As it stood at the end.
        from_s, to_s: First and last row.
        readings: Every reading with its final flags.
        aside: Readings that are no probe's: covers.
        untimed: Cells of rows without a time.
    """

    garden: Garden
    from_s: int
    to_s: int
    alarms: tuple[Alarm, ...]
    notices: tuple[Notice, ...]
    briefs: tuple[Brief, ...]
    heat: tuple[HeatForecast, ...]
    night_forecasts: tuple[NightForecast, ...]
    day_forecasts: tuple[DayForecast, ...]
    nights: tuple[Observed, ...]
    days: tuple[Observed, ...]
    lids: tuple[LidOpening, ...]
    covers: tuple[CoverTold, ...]
    readings: ReadingColumns
    aside: ReadingColumns
    untimed: int = 0
    remarks: tuple[str, ...] = ()
    what_if: dict[str, Any] | None = None
    skill: tuple[dict[str, Any], ...] = ()

    def flagged(self) -> dict[str, int]:
        """Cells by flag, those that occur."""
        counts = {
            flag.word: sum(int(np.count_nonzero(c.flags & int(flag))) for c in (self.readings, self.aside))
            for flag in Flag
            if flag & FAULT_BITS
        }
        counts[Flag.CLOCK.word] += self.untimed
        return {word: count for word, count in counts.items() if count}

    def cells(self) -> tuple[int, int]:
        """Cells that held anything, and those of them without a fault."""
        parts = (self.readings, self.aside)
        good = sum(int(np.count_nonzero((c.flags & FAULT_BITS) == 0)) for c in parts)
        return sum(len(c) for c in parts) + self.untimed, good

    def series(self, box: str, place: str) -> Series:
        """What a place measured, row by row, over the whole stretch."""
        return place_series(self.readings, self.garden, box=box, place=place)

    def to_json(self) -> dict[str, Any]:
        """The external contract; keys are only ever added."""
        rows, used = self.cells()
        site = self.garden.site
        return {
            "site": {
                "name": site.name,
                "latitude": site.latitude,
                "longitude": site.longitude,
                "zone": site.zone,
                "unit": site.unit,
                "sun": "known" if site.has_sun else "unknown: no --site, so plain methods decide",
            },
            "from": utc_text(self.from_s),
            "to": utc_text(self.to_s),
            "alarms": [alarm.to_json() for alarm in self.alarms],
            "notices": [notice.to_json() for notice in self.notices],
            "briefs": [brief.to_json() for brief in self.briefs],
            "heat": [forecast.to_json() for forecast in self.heat],
            "nights": _with_forecasts(self.nights, self.night_forecasts, "night", "min"),
            "days": _with_forecasts(self.days, self.day_forecasts, "day", "max"),
            "lids": [lid.to_json() for lid in self.lids],
            "what_if": self.what_if,
            "skill": list(self.skill),
            "readings": {
                "rows": rows,
                "used": used,
                "flagged": self.flagged(),
                "remarks": list(self.remarks),
            },
        }


def _with_forecasts(
    observed: Sequence[Observed], forecasts: Iterable[Any], called: str, which: str
) -> list[dict[str, Any]]:
    issued: dict[tuple[str, date], list[Any]] = defaultdict(list)
    for forecast in forecasts:
        issued[forecast.box, getattr(forecast, called)].append(forecast)
    return [
        {
            "box": one.box,
            called: one.date.isoformat(),
            f"observed_{which}_c": None if one.value_c is None else round(one.value_c, 2),
            f"observed_{which}_at": None if one.at_s is None else utc_text(one.at_s),
            "whole": one.whole,
            "forecasts": [f.to_json() for f in sorted(issued[one.box, one.date], key=lambda f: f.issued_s)],
        }
        for one in observed
    ]


Air = Mapping[str, Series]
"""What the air of each place was, row by row."""


def air_of(readings: ReadingColumns, garden: Garden) -> dict[str, Series]:
    """The air of every place that is reported, in a report's order."""
    return {box: place_series(readings, garden, box=box, place="air") for box in places_reported(garden)}


def observed_nights(air: Air, garden: Garden, *, from_s: int, to_s: int) -> tuple[Observed, ...]:
    """The lowest air of every box-night the stretch touches."""
    site = garden.site
    dates = days_from(local_date(from_s, site.zone) - timedelta(days=1), local_date(to_s, site.zone))
    windows = [(day, night.start_s, night.end_s) for day in dates for night in (night_of(site, day),)]
    return _observed(air, windows, from_s=from_s, to_s=to_s, lowest=True)


def observed_days(air: Air, garden: Garden, *, from_s: int, to_s: int) -> tuple[Observed, ...]:
    """The highest air of every box-day (midnight to midnight there) the stretch touches."""
    zone = garden.site.zone
    dates = days_from(local_date(from_s, zone), local_date(to_s, zone))
    windows = [
        (day, at_local(day, _MIDNIGHT, zone), at_local(day + timedelta(days=1), _MIDNIGHT, zone))
        for day in dates
    ]
    return _observed(air, windows, from_s=from_s, to_s=to_s, lowest=False)


def _observed(
    air: Air,
    windows: Sequence[tuple[date, int, int]],
    *,
    from_s: int,
    to_s: int,
    lowest: bool,
) -> tuple[Observed, ...]:
    found: list[Observed] = []
    for box, series in air.items():
        for day, start_s, end_s in windows:
            if end_s < from_s or start_s > to_s:
                continue
            part = series.between(start_s, end_s)
            at = int(np.argmin(part.value) if lowest else np.argmax(part.value)) if len(part) else None
            found.append(
                Observed(
                    box=box,
                    date=day,
                    value_c=None if at is None else float(part.value[at]),
                    at_s=None if at is None else int(part.row_s[at]),
                    whole=from_s <= start_s and end_s <= to_s,
                )
            )
    return tuple(sorted(found, key=lambda one: (one.date, one.box)))


def places_reported(garden: Garden) -> tuple[str, ...]:
    """The boxes with an air probe; the open ground where there is no box."""
    boxes = tuple(box for box in garden.box_names if garden.probes_at(box, "air"))
    return boxes or ((OUTSIDE,) if garden.probes_at(OUTSIDE, "air") else ())


def rows_between(recording: Recording, step_s: int) -> tuple[int, int]:
    """First and last grid row of a recording's believable readings."""
    first_ms, last_ms = recording.span_ms()
    step_ms = step_s * 1000
    return -(-first_ms // step_ms) * step_s, -(-last_ms // step_ms) * step_s
