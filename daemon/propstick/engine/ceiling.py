"""The sun a box gets when no cloud is in the way, by the sun's bearing: where walls and trees stand.

The sun index of the observer (1 is about a clear sky) has a largest value for each bearing of the sun
on days clear enough. A wall in the south-east shows as a low ceiling there. Only a closed lid tells:
with the lid up the index is whatever the wind makes of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.engine.observer_state import DAY_S, learns_at_s
from propstick.engine.telling_days import known_quantile
from propstick.engine.trace import Trace
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
_SUN_LEAST_W_M2 = 200.0
"""About 13° high: a box opened before that each day would else be known by grazing sun alone, and its
shut maximum forecast lower day by day."""
_QUANTILE = 0.65
_WIDE_QUANTILE = 0.8
_PSEUDO = 2
_PRIOR_SUN = 1.0
_DULL = 0.5
"""A day that gets no further than this share of what is expected of a clear one was no clear one: a fortnight
of cloud must not make the first sunny day a surprise."""
_DULL_COUNTS = 0.15
"""But a box that never gets more stands in the shade: each dull day counts so much of a clear one."""
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
        wide: What the box gets at its better bearings, (b,).
        dull, dull_level: Days in a row too dull to be a clear sky, and their mean, (b,).
    """

    time_s: int | None
    sun_tail: FloatArray
    lid_tail: FloatArray
    today: FloatArray
    best: FloatArray
    day: FloatArray
    level: FloatArray
    wide: FloatArray
    dull: FloatArray
    dull_level: FloatArray


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
        wide=np.full(boxes, _PRIOR_SUN),
        dull=np.zeros(boxes),
        dull_level=np.zeros(boxes),
    )


def bin_of(azimuth_deg: FloatArray) -> IntArray:
    """Which bearing bin; 0 where the sun is unknown."""
    return (np.nan_to_num(azimuth_deg) // BIN_DEG).astype(np.int64) % BINS


def ceiling_at(state: CeilingState, trace: Trace, *, site: Site) -> tuple[CeilingState, FloatArray]:
    """The ceiling of the sun index in force at each row of a trace, (n, b).

    The trace must lie within one day of learning; if it begins a new one, the last is settled first.
    """
    if not len(trace):
        return state, np.empty(trace.sun.shape)
    day = (trace.time_s[0] - learns_at_s(site)) // DAY_S
    before = day if state.time_s is None else (state.time_s - learns_at_s(site)) // DAY_S
    if day != before:
        state = replace(_settled(state, float(before)), time_s=int(trace.time_s[0]))
    return state, state.level[bin_of(trace.azimuth_deg)]


def watch_ceiling(state: CeilingState, trace: Trace, *, lid: FloatArray, step_s: int) -> CeilingState:
    """Follow the sun index through a trace for which `ceiling_at` was asked.

    Args:
        lid: Opening as told or estimated, (n, b).
    """
    if not len(trace):
        return state
    rows = len(state.lid_tail)
    suns = np.concatenate([state.sun_tail, trace.sun])
    lids = np.concatenate([state.lid_tail, lid])
    sun20 = trailing_mean(suns, max(1, round(_MEAN_MIN * 60 / step_s)), newest=len(trace))
    lid30 = trailing_mean(lids, rows, newest=len(trace))
    tells = (
        (lid30 < _LID_SHUT)
        & (trace.clear_sky_w_m2 > _SUN_LEAST_W_M2)[:, None]
        & trace.known
        & ~trace.doubted
        & trace.outside_known[:, None]
        & (trace.cover < 0.5)
    )
    today = np.where(np.isnan(state.today), -np.inf, state.today)
    np.maximum.at(today, bin_of(trace.azimuth_deg), np.where(tells, sun20, -np.inf))
    return replace(
        state,
        time_s=int(trace.time_s[-1]),
        sun_tail=suns[len(suns) - rows :].copy(),
        lid_tail=lids[len(lids) - rows :].copy(),
        today=np.where(np.isinf(today), np.nan, today),
    )


def _settled(state: CeilingState, day: float) -> CeilingState:
    """Put the day that ended behind the past ones and work out each bearing's ceiling anew."""
    seen = ~np.isnan(state.today)
    top = known_quantile(state.today, _WIDE_QUANTILE)
    is_dull = top < _DULL * state.wide  # false where nothing was seen
    is_clear = seen.any(axis=0) & ~is_dull
    dull = np.where(is_clear, 0.0, state.dull + is_dull)
    gap = np.where(is_dull, top - state.dull_level, 0.0)
    dull_level = np.where(is_clear, 0.0, state.dull_level + gap / np.maximum(dull, 1.0))
    tells = seen & is_clear
    best = np.where(tells, np.concatenate([state.best[1:], state.today[None]]), state.best)
    dates = np.where(tells, np.concatenate([state.day[1:], np.full_like(state.today, day)[None]]), state.day)
    best = np.where(dates < day - _OLDEST_DAYS, np.nan, best)
    bins, b = state.today.shape
    known = [_clear_days(best[..., box], dates[..., box]) for box in range(b)]
    level_of, days = (np.array(values) for values in zip(*known, strict=True)) if b else (dull, dull)
    counts = _DULL_COUNTS * dull
    wide = (days * level_of + counts * dull_level + _PSEUDO * _PRIOR_SUN) / (days + counts + _PSEUDO)
    pseudo = np.broadcast_to(wide, (_PSEUDO, bins, b))
    level = known_quantile(np.concatenate([best, pseudo]), _QUANTILE)
    return replace(
        state,
        today=np.full_like(state.today, np.nan),
        best=best,
        day=dates,
        level=level,
        wide=wide,
        dull=dull,
        dull_level=dull_level,
    )


def _clear_days(best: FloatArray, dates: FloatArray) -> tuple[float, int]:
    """What one box got at its better bearings on the days that tell, and how many there are."""
    seen = ~np.isnan(best)
    days = len(np.unique(dates[seen]))
    return (float(np.quantile(best[seen], _WIDE_QUANTILE)) if days else 0.0), days
