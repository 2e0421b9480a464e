"""The sun a box gets when no cloud is in the way, by the sun's bearing: where walls and trees stand.

The sun index of the observer (1 is about a clear sky) has a largest value for each bearing of the sun
on days clear enough. A wall in the south-east shows as a low ceiling there. Only a closed lid tells:
with the lid up the index is whatever the wind makes of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.engine.observer import DAY_S, Trace, learns_at_s
from propstick.engine.windows import trailing_mean
from propstick.garden import Site
from propstick.units import FloatArray, IntArray

BIN_DEG = 8.0
BINS = 45
_KEPT_DAYS = 12
_OLDEST_DAYS = 45
_MEAN_MIN = 20
_LID_MEAN_MIN = 30
_LID_SHUT = 0.08
_SUN_LEAST_W_M2 = 80.0
_QUANTILE = 0.65
_WIDE_QUANTILE = 0.8
_PSEUDO = 2
_PRIOR_SUN = 1.0
# All tuned on invented boxes.


@dataclass(frozen=True)
class CeilingState:
    """What is carried.

    Attributes:
        time_s: Row last seen; None before the first.
        sun_tail, lid_tail: The last rows of sun index and opening, NaN before the first, (k, b).
        today: Largest 20-min mean of each bearing today, (45, b); NaN = none.
        best: Such values of past days, newest last, (12, 45, b).
        day: The day (since 1970) each was seen, (12, 45, b).
        level: The ceiling of each bearing as of the last learning, (45, b).
    """

    time_s: int | None
    sun_tail: FloatArray
    lid_tail: FloatArray
    today: FloatArray
    best: FloatArray
    day: FloatArray
    level: FloatArray


def start_ceiling(boxes: int, step_s: int = 60) -> CeilingState:
    """Nothing seen: every bearing as clear as the sky."""
    rows = max(1, round(_LID_MEAN_MIN * 60 / step_s))
    return CeilingState(
        time_s=None,
        sun_tail=np.full((rows, boxes), np.nan),
        lid_tail=np.full((rows, boxes), np.nan),
        today=np.full((BINS, boxes), np.nan),
        best=np.full((_KEPT_DAYS, BINS, boxes), np.nan),
        day=np.full((_KEPT_DAYS, BINS, boxes), np.nan),
        level=np.full((BINS, boxes), _PRIOR_SUN),
    )


def bin_of(azimuth_deg: FloatArray) -> IntArray:
    """Which bearing bin; 0 where the sun is unknown."""
    return (np.nan_to_num(azimuth_deg) // BIN_DEG).astype(np.int64) % BINS


def watch_ceiling(
    state: CeilingState, trace: Trace, *, lid: FloatArray, site: Site, step_s: int
) -> tuple[CeilingState, FloatArray]:
    """Follow the sun index; once a day settle the ceilings.

    Args:
        lid: Opening as told or estimated, (n, b).

    Returns:
        The state, and the ceiling of the sun index in force at each row, (n, b).
    """
    n, b = trace.sun.shape
    in_force = np.empty((n, b))
    if not n:
        return state, in_force
    rows = len(state.lid_tail)
    suns = np.concatenate([state.sun_tail, trace.sun])
    lids = np.concatenate([state.lid_tail, lid])
    sun20 = trailing_mean(suns, max(1, round(_MEAN_MIN * 60 / step_s)))[rows:]
    lid30 = trailing_mean(lids, rows)[rows:]
    tells = (
        (lid30 < _LID_SHUT)
        & (trace.clear_sky_w_m2 > _SUN_LEAST_W_M2)[:, None]
        & trace.known
        & trace.outside_known[:, None]
        & (trace.cover < 0.5)
    )
    values = np.where(tells, sun20, -np.inf)
    bearing = bin_of(trace.azimuth_deg)
    offset = learns_at_s(site)
    days = (trace.time_s - offset) // DAY_S
    last_day = days[0] if state.time_s is None else (state.time_s - offset) // DAY_S
    for day in np.unique(days):
        if day != last_day:
            state = _settled(state, float(last_day))
            last_day = day
        here = days == day
        in_force[here] = state.level[bearing[here]]
        today = np.where(np.isnan(state.today), -np.inf, state.today)
        np.maximum.at(today, bearing[here], values[here])
        state = replace(state, today=np.where(np.isinf(today), np.nan, today))
    return replace(
        state,
        time_s=int(trace.time_s[-1]),
        sun_tail=suns[len(suns) - rows :].copy(),
        lid_tail=lids[len(lids) - rows :].copy(),
    ), in_force


def _settled(state: CeilingState, day: float) -> CeilingState:
    """Put the day that ended behind the past ones and work out each bearing's ceiling anew."""
    seen = ~np.isnan(state.today)
    best = np.where(seen, np.concatenate([state.best[1:], state.today[None]]), state.best)
    dates = np.where(seen, np.concatenate([state.day[1:], np.full_like(state.today, day)[None]]), state.day)
    best = np.where(dates < day - _OLDEST_DAYS, np.nan, best)
    bins, b = state.today.shape
    every = best.reshape(-1, b)
    days_seen = np.array(
        [len(np.unique(d[~np.isnan(v)])) for d, v in zip(dates.reshape(-1, b).T, every.T, strict=True)]
    )
    wide = np.array(
        [
            np.quantile(v[~np.isnan(v)], _WIDE_QUANTILE) if s else _PRIOR_SUN
            for v, s in zip(every.T, days_seen, strict=True)
        ]
    )
    wide = (days_seen * wide + _PSEUDO * _PRIOR_SUN) / (days_seen + _PSEUDO)
    pseudo = np.broadcast_to(wide, (_PSEUDO, bins, b))
    level = np.nanquantile(np.concatenate([best, pseudo]), _QUANTILE, axis=0)
    return replace(state, today=np.full_like(state.today, np.nan), best=best, day=dates, level=level)
