"""Rows laid out on the steps the minute model works in: thinned, gaps bridged, what is known carried on."""

from __future__ import annotations

import numpy as np

from propstick.blocks import PlaceRows
from propstick.units import FloatArray, IntArray

_BRIDGED_GAP_ROWS = 90


def step_used_s(step_s: int) -> int:
    """Seconds between the rows the model works on: the grid's step, or the first multiple of a minute."""
    return step_s * -(-60 // step_s)


def lay_out(rows: PlaceRows, *, before_s: int | None, step_s: int) -> tuple[IntArray, IntArray]:
    """Times to work on and, for each, the row it is (-1: a gap, treated as silence).

    Rows closer than a minute are thinned to whole steps; a gap is bridged for an hour and a half.

    Args:
        before_s: The last time worked on; None before the first.
    """
    index = np.flatnonzero(rows.time_s % step_s == 0)
    times = rows.time_s[index]
    if not len(times):
        return times.astype(np.int64), index
    before = times[0] - step_s if before_s is None else before_s
    steps = np.diff(times, prepend=before) // step_s
    if (steps == 1).all():
        return times, index
    missing = np.clip(steps - 1, 0, _BRIDGED_GAP_ROWS)
    stops = np.cumsum(missing + 1) - 1
    source = np.full(int(stops[-1]) + 1, -1, dtype=np.int64)
    source[stops] = index
    bridged = np.empty(len(source), dtype=np.int64)
    starts = stops - missing
    for k, stop in enumerate(stops):
        bridged[starts[k] : stop + 1] = times[k] - step_s * np.arange(missing[k], -1, -1)
    return bridged, source


def taken(values: FloatArray, source: IntArray) -> FloatArray:
    """Rows by number, NaN for those that are a gap."""
    taken = values[source].astype(float)
    taken[source < 0] = np.nan
    return taken


def filled_forward(values: FloatArray, before: FloatArray) -> FloatArray:
    """Unknown values replaced by the last known one."""
    whole = np.concatenate([before[None], values])
    place = np.where(np.isnan(whole), 0, np.arange(len(whole))[:, None])
    latest = np.maximum.accumulate(place, axis=0)
    return np.take_along_axis(whole, latest, axis=0)[1:]
