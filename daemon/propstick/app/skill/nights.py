"""Marks of the night: the minimum beside plain methods, and frost as a yes or no.

A night's minimum is judged by the lowest air from the issue to the night's end, which is what the
forecast speaks of.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from math import nan
from statistics import fmean
from typing import Any

import numpy as np

from propstick.app.place_series import STILL_FRESH_S, Series
from propstick.app.skill.verdict import WARN_AT, Judged, chances_row, share_so_far, warned_counts
from propstick.engine import plain
from propstick.engine.nights import HOUR_S, Night, night_of
from propstick.garden import Garden
from propstick.records import NightForecast
from propstick.units import FloatArray

HOURS = 16
"""Issue hours kept apart by the plain methods: the first is an hour before sunset."""
BRIEF, DUSK, LATER = "evening brief", "2 h after sunset", "later in the night"


def night_rows(
    garden: Garden,
    air: Mapping[str, Series],
    forecasts: Sequence[NightForecast],
    whole: Mapping[tuple[str, date], float],
) -> Iterable[dict[str, Any]]:
    """One row for each issue class and plain method, and one for frost at each of the first two.

    Args:
        whole: The lowest air of each night that was seen from beginning to end.
    """
    minima: dict[str, Judged] = defaultdict(Judged)
    frost: dict[str, dict[tuple[date, str], tuple[float, bool, bool]]] = defaultdict(dict)
    issued: dict[tuple[str, date], list[NightForecast]] = defaultdict(list)
    for forecast in sorted(forecasts, key=lambda one: one.issued_s):
        issued[forecast.box, forecast.night].append(forecast)
    earlier: dict[str, list[float]] = defaultdict(list)
    records: dict[str, plain.NightRecord] = defaultdict(lambda: plain.no_nights(HOURS, 1))
    for box, day in sorted(whole, key=lambda key: key[1]):
        night, series, record = night_of(garden.site, day), air[box], records[box]
        for forecast in issued[box, day]:
            rest = series.between(max(forecast.issued_s, night.start_s), night.end_s)
            if not len(rest):
                continue
            came_c, hour = float(rest.value.min()), night.issue_hour(forecast.issued_s)
            h = min(max(hour + 1, 0), HOURS - 1)
            now = np.array([series.last_at(forecast.issued_s, no_older_than_s=STILL_FRESH_S)])
            called = BRIEF if hour < 1 else DUSK if hour < 3 else LATER
            last_c, usual_c = (float(f(record, h, now)[0]) for f in (plain.last_drop_c, plain.mean_drop_c))
            fitted = record.count[h, 0] >= plain.FAO_NIGHTS
            minima[called].add(
                forecast.min_c,
                forecast.low_c,
                forecast.high_c,
                came_c=came_c,
                plain_c={
                    "last night's minimum": whole.get((box, day - timedelta(days=1)), nan),
                    "last night's fall": last_c,
                    "usual fall": usual_c,
                    "mean of earlier nights": fmean(earlier[box]) if earlier[box] else nan,
                    "FAO frost equation": float(plain.fao_c(record, h, now)[0]) if fitted else nan,
                },
            )
            if called != LATER and forecast.p_frost is not None:
                frost[called].setdefault((day, box), (forecast.p_frost, came_c <= 0.0, last_c <= 0.0))
        earlier[box].append(whole[box, day])
        records[box] = plain.add_night(record, *_hourly(series, night))
    for called in sorted(minima):
        yield from minima[called].rows(f"night minimum, {called}", cases="nights")
    for called in sorted(frost):
        cases = [frost[called][key] for key in sorted(frost[called])]
        said, came, falls = (np.array(values) for values in zip(*cases, strict=True))
        if came.any() or (said > WARN_AT).any():
            row = chances_row(
                f"frost at 0 °C, {called}",
                said,
                share_so_far(came),
                came,
                plain="share of nights before",
                cases="nights of each sort",
            )
            fallen = {f"plain_{k}": v for k, v in warned_counts(falls.astype(float), came).items()}
            yield row | warned_counts(said, came) | {"plain_warning": "last night's fall"} | fallen


def _hourly(series: Series, night: Night) -> tuple[FloatArray, FloatArray]:
    """Air at each issue hour and the lowest from then on, (HOURS, 1); NaN where too little was read."""
    air, least = np.full((HOURS, 1), nan), np.full((HOURS, 1), nan)
    for h in range(HOURS):
        issue_s = night.sunset_s + (h - 1) * HOUR_S
        rest = series.between(max(issue_s, night.start_s), night.end_s)
        if issue_s >= night.end_s or not len(rest):
            continue
        air[h] = series.last_at(issue_s, no_older_than_s=STILL_FRESH_S)
        least[h] = rest.value.min()
    return air, least
