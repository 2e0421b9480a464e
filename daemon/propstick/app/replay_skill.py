"""How good the forecasts of a replay were: each kind beside what came, and beside plain methods.

A night's minimum is judged by the lowest air from the issue to the night's end, which is what the
forecast speaks of; a day's maximum by the lid as it stood, the only one that can be compared.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import nan
from typing import Any

import numpy as np

from propstick.app.place_series import Series
from propstick.app.replay_report import Observed
from propstick.engine.heat_plain import HORIZONS_MIN, line_chances
from propstick.engine.nights import night_of
from propstick.engine.scores import brier, coverage, mean_absolute_error
from propstick.garden import Garden
from propstick.records import Alarm, DayForecast, HeatForecast, NightForecast
from propstick.times import DAY_S

_LINE_S = 900
"""The straight line is drawn through the last quarter of an hour."""
_STILL_FRESH_S = 1800


@dataclass(frozen=True)
class _Judged:
    """One forecast, what came, and what plain methods would have said [°C]; NaN where unknown."""

    middle_c: float
    low_c: float
    high_c: float
    came_c: float
    plain_c: Mapping[str, float]


def skill_of(
    garden: Garden,
    air: Mapping[str, Series],
    *,
    nights: Sequence[NightForecast],
    days: Sequence[DayForecast],
    heat: Sequence[HeatForecast],
    alarms: Sequence[Alarm],
    observed_nights: Sequence[Observed],
    observed_days: Sequence[Observed],
) -> tuple[dict[str, Any], ...]:
    """One object for each kind of forecast and plain method, and one for the warnings of heat.

    Args:
        air: What each box measured.
    """
    lows, highs = _by_date(observed_nights), _by_date(observed_days)
    rows = [*_nights(garden, air, nights, lows), *_days(days, highs), *_heat(air, heat)]
    return (*rows, *_warnings(alarms))


def _by_date(observed: Sequence[Observed]) -> dict[tuple[str, date], float]:
    """Extremes of nights or days that were seen whole."""
    return {(o.box, o.date): o.value_c for o in observed if o.whole and o.value_c is not None}


def _nights(
    garden: Garden,
    air: Mapping[str, Series],
    forecasts: Sequence[NightForecast],
    lows: Mapping[tuple[str, date], float],
) -> Iterable[dict[str, Any]]:
    grouped: dict[str, list[_Judged]] = defaultdict(list)
    for forecast in forecasts:
        night = night_of(garden.site, forecast.night)
        if (forecast.box, forecast.night) not in lows:
            continue
        series = air[forecast.box]
        rest = series.between(max(forecast.issued_s, night.start_s), night.end_s)
        if not len(rest):
            continue
        now_c = series.last_at(forecast.issued_s, no_older_than_s=_STILL_FRESH_S)
        before_c = lows.get((forecast.box, forecast.night - timedelta(days=1)), nan)
        then_c = series.last_at(forecast.issued_s - DAY_S, no_older_than_s=_STILL_FRESH_S)
        hour = night.issue_hour(forecast.issued_s)
        called = "evening brief" if hour < 1 else "2 h after sunset" if hour < 3 else "later in the night"
        plain = {
            "as last night": before_c,
            "last night's fall": now_c + min(before_c - then_c, 0.0),
        }
        grouped[f"night minimum, {called}"].append(
            _Judged(forecast.min_c, forecast.low_c, forecast.high_c, float(rest.value.min()), plain)
        )
    for name in sorted(grouped):
        yield from _compared(name, grouped[name])


def _days(
    forecasts: Sequence[DayForecast], highs: Mapping[tuple[str, date], float]
) -> Iterable[dict[str, Any]]:
    judged = []
    for forecast in forecasts:
        came = highs.get((forecast.box, forecast.day))
        if forecast.lid == "as-is" and came is not None:
            plain = {"as the day before": highs.get((forecast.box, forecast.day - timedelta(days=1)), nan)}
            judged.append(_Judged(forecast.max_c, forecast.low_c, forecast.high_c, came, plain))
    yield from _compared("day maximum, lid as it stands", judged)


def _compared(name: str, judged: Sequence[_Judged]) -> Iterable[dict[str, Any]]:
    """The mean error of ours and of each plain method over the cases that both have."""
    if not judged:
        return
    middle, low, high, came = (
        np.array([getattr(one, field) for one in judged])
        for field in ("middle_c", "low_c", "high_c", "came_c")
    )
    for plain in judged[0].plain_c:
        said = np.array([one.plain_c[plain] for one in judged])
        both = ~np.isnan(said) & ~np.isnan(middle)
        ours_c = mean_absolute_error(middle[both], came[both])
        plain_c = mean_absolute_error(said[both], came[both])
        yield {
            "forecast": name,
            "count": len(judged),
            "compared": int(both.sum()),
            "error_c": _figure(ours_c if both.any() else mean_absolute_error(middle, came)),
            "plain": plain,
            "plain_error_c": _figure(plain_c),
            "inside_90": _figure(coverage(low, high, came)),
            "is_better": bool(ours_c < plain_c) if both.any() else None,
        }


def _heat(air: Mapping[str, Series], forecasts: Sequence[HeatForecast]) -> Iterable[dict[str, Any]]:
    """Brier scores of a crossing within 20, 30 and 60 minutes, beside the straight line's."""
    said, line, came = [], [], []
    for box, series in air.items():
        mine = [f for f in forecasts if f.box == box]
        for forecast in mine:
            now_c = series.last_at(forecast.issued_s, no_older_than_s=_STILL_FRESH_S)
            ahead = series.between(forecast.issued_s + 1, forecast.issued_s + 60 * HORIZONS_MIN[-1])
            if not now_c <= forecast.limit_c or not len(ahead):
                continue
            then_c = series.last_at(forecast.issued_s - _LINE_S, no_older_than_s=_STILL_FRESH_S)
            slope = 0.0 if np.isnan(then_c) else (now_c - then_c) / (_LINE_S / 60)
            over_s = ahead.row_s[ahead.value > forecast.limit_c]
            wait_s = float(over_s[0]) - forecast.issued_s if len(over_s) else np.inf
            said.append((forecast.p20, forecast.p30, forecast.p60))
            line.append(line_chances(np.array([forecast.limit_c - now_c]), np.array([slope]))[:, 0])
            came.append([wait_s <= 60 * minutes for minutes in HORIZONS_MIN])
    for k, minutes in enumerate(HORIZONS_MIN):
        if not said:
            return
        ours, plain, true = (np.array(one, dtype=float)[:, k] for one in (said, line, came))
        yield {
            "forecast": f"heat within {minutes} min",
            "count": len(ours),
            "came": int(true.sum()),
            "brier": _figure(brier(ours, true), 5),
            "plain": "straight line",
            "plain_brier": _figure(brier(plain, true), 5),
            "is_better": bool(brier(ours, true) < brier(plain, true)),
        }


def _warnings(alarms: Sequence[Alarm]) -> Iterable[dict[str, Any]]:
    ahead = [alarm for alarm in alarms if alarm.kind == "heat-ahead"]
    heat = [alarm for alarm in alarms if alarm.kind == "heat"]
    if not ahead and not heat:
        return
    leads = [
        alarm.lead_minutes for alarm in heat if alarm.lead_minutes is not None and alarm.lead_minutes > 0
    ]
    yield {
        "forecast": "heat warnings",
        "warned": len(ahead),
        "came": sum(alarm.outcome == "came" for alarm in ahead),
        "withdrawn": sum(alarm.outcome == "withdrawn" for alarm in ahead),
        "unwarned": len(heat) - len(leads),
        "lead_minutes_median": _figure(float(np.median(leads)), 1) if leads else None,
    }


def _figure(value: float, digits: int = 3) -> float | None:
    return None if np.isnan(value) else round(float(value), digits)
