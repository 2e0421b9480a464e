"""Marks of heat: the chance of passing the limit soon, and the warnings that came of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from propstick.app.place_series import STILL_FRESH_S, Series
from propstick.app.skill.tally import tally
from propstick.app.skill.verdict import chances_row, figure
from propstick.engine.heat_plain import HORIZONS_MIN, line_chances
from propstick.records import Alarm, HeatForecast
from propstick.times import DAY_S
from propstick.units import FloatArray

LINE_S = 900
"""The straight line is drawn through the last quarter of an hour."""
WEEK_S = 7 * DAY_S
LEADS_MIN = (10, 20)


def chance_rows(air: Mapping[str, Series], forecasts: Sequence[HeatForecast]) -> Iterable[dict[str, Any]]:
    """Chances of a crossing within 20, 30 and 60 minutes, beside those of a straight line."""
    by_box: dict[str, list[HeatForecast]] = {box: [] for box in air}
    for forecast in forecasts:
        if forecast.box in by_box:
            by_box[forecast.box].append(forecast)
    parts = [_asked(air[box], mine) for box, mine in by_box.items() if mine and len(air[box])]
    if not parts or not sum(len(said) for said, _, _ in parts):
        return
    said, line, wait_min = (np.concatenate(values) for values in zip(*parts, strict=True))
    for k, minutes in enumerate(HORIZONS_MIN):
        yield chances_row(
            f"heat within {minutes} min",
            said[:, k],
            line[:, k],
            wait_min <= minutes,
            plain="straight line",
            cases="crossings",
        )


def _asked(series: Series, forecasts: Sequence[HeatForecast]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Our chances and the line's, (m, 3), and the minutes until the limit was passed, (m,).

    Only where the air was below the limit, and was read in the hour after.
    """
    issued_s = np.array([f.issued_s for f in forecasts], dtype=np.int64)
    limit_c = np.array([f.limit_c for f in forecasts])
    now_c = series.carried(issued_s, no_older_than_s=STILL_FRESH_S)
    then_c = series.carried(issued_s - LINE_S, no_older_than_s=STILL_FRESH_S)
    slope = np.nan_to_num((now_c - then_c) / (LINE_S / 60))
    wait_min = np.full(len(issued_s), np.inf)
    for limit in np.unique(limit_c):
        over_s = np.append(series.row_s[series.value > limit], np.iinfo(np.int64).max).astype(float)
        here = limit_c == limit
        next_s = over_s[np.searchsorted(over_s, issued_s[here], side="right")]
        wait_min[here] = (next_s - issued_s[here]) / 60.0
    first, last = np.searchsorted(series.row_s, [issued_s + 1, issued_s + 60 * HORIZONS_MIN[-1] + 1])
    counts = (now_c <= limit_c) & (last > first)
    said = np.array([(f.p20, f.p30, f.p60) for f in forecasts])
    line = np.moveaxis(line_chances(limit_c - now_c, slope), 0, 1)
    return said[counts], line[counts], wait_min[counts]


def warning_rows(
    air: Mapping[str, Series], alarms: Sequence[Alarm], *, since_s: int | None = None
) -> Iterable[dict[str, Any]]:
    """How many crossings were warned of and how early, and how many warnings nothing came of.

    A crossing is a `heat` alarm; its lead runs from the first notice to its beginning.

    Args:
        air: What each box measured.
        since_s: First moment of the stretch the alarms are of; None: all that was measured.
    """
    heat = [alarm for alarm in alarms if alarm.kind == "heat"]
    if not any(alarm.kind in ("heat", "heat-ahead") for alarm in alarms):
        return
    leads = np.array([-1.0 if a.lead_minutes is None else a.lead_minutes for a in heat])
    early = leads[leads > 0.0]
    weeks = sum(_watched_s(s, since_s) for s in air.values()) / WEEK_S
    found = tally(alarms, kinds=("heat",))
    yield {
        "forecast": "heat warnings",
        "warned": found.warned,
        "came": found.came,
        "withdrawn": found.withdrawn,
        "unwarned": len(heat) - len(early),
        "lead_minutes_median": figure(float(np.median(early)), 1) if len(early) else None,
        **{f"warned_{m}_min": int((leads >= m).sum()) for m in LEADS_MIN},
        "crossings": len(heat),
        "false_per_box_week": figure(found.withdrawn / weeks, 2) if weeks > 0.0 else None,
    }


def _watched_s(series: Series, since_s: int | None) -> float:
    if not len(series):
        return 0.0
    first_s = int(series.row_s[0]) if since_s is None else max(int(series.row_s[0]), since_s)
    return max(0.0, float(series.row_s[-1] - first_s))


def frost_warning_rows(alarms: Sequence[Alarm]) -> Iterable[dict[str, Any]]:
    """Warnings of frost by each crop's own limit: right, withdrawn, and frosts that none went before."""
    found = tally(alarms, kinds=("frost",))
    if not found.warned and not found.unannounced:
        return
    yield {
        "forecast": "frost warnings",
        "warned": found.warned,
        "came": found.came,
        "withdrawn": found.withdrawn,
        "unwarned": found.unannounced,
    }
