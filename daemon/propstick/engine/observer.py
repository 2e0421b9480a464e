"""Follows every box minute by minute: what its air, its soil surface and the sun on it must be.

One grey-box model (`physics/box.py`) per box is run beside the readings and pulled towards them. What
the readings leave unexplained by day becomes the sun index K (1 is about a clear sky: the box itself
is the sun sensor), at night the chill of the sky. Beside it run six copies with one rate nudged each,
from which `fit.py` learns the rates once a day, and four copies with the lid held at fixed openings,
from which `opening.py` judges where the lid is. All copies of all boxes are one array, so that a row
costs about thirty small array operations however many boxes there are.

The state is carried explicitly and learning happens at a fixed hour by row time: feeding rows whole
or one by one gives the same bits.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine.filter import (
    AIR,
    BANK,
    CHILL,
    MAIN,
    NUDGED,
    SUN,
    SUN_SLOW,
    SURFACE,
    Drive,
    run_filter,
)
from propstick.engine.fit import N_RATES, learn
from propstick.engine.grain import finest_step_c, rounding_sd_c
from propstick.engine.laying import filled_forward, lay_out, taken
from propstick.engine.lessons import closed, gathered
from propstick.engine.minute_trends import trends_of
from propstick.engine.observer_state import DAY_S, ObserverState, learns_at_s, start
from propstick.engine.trace import (
    COVER_LOSS,
    COVER_SUN,
    SUN_USED_W_M2,
    Trace,
    joined_trace,
    kept_rows,
)
from propstick.engine.windows import extend, last, rows_since, trailing_mean
from propstick.garden import Site
from propstick.physics.box import SUN_GAIN_C_PER_MIN
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.units import BoolArray, FloatArray, IntArray

__all__ = ["COVER_LOSS", "COVER_SUN", "SUN_USED_W_M2", "ObserverState", "Trace", "observe", "start"]

_SILENCE_MIN = 10
_LID_SETTLES_MIN = 20
_OUTSIDE_SILENCE_MIN = 30
_NIGHT_MOST_C = 0.25
_NIGHT_GAIN = 0.2
_NIGHT_LEAST_ROWS = 60
_MISFIT_HOUR_RATIO, _MISFIT_HOUR_C, _MISFIT_EVERY_MIN = 5.0, 0.5, 3
"""An hour whose error is this many times a usual day's, and this large, no longer fits; common practice."""


def observe(
    state: ObserverState, rows: PlaceRows, site: Site, *, read_every_s: FloatArray | None = None
) -> tuple[ObserverState, Trace]:
    """Follow the boxes through some rows.

    Args:
        read_every_s: Seconds between the readings of each box's air where they are slower than the grid,
            shape (b,); 0 for every row.

    Gaps in the rows are bridged by silence, so that means and slopes keep their meaning.
    """
    offset = learns_at_s(site)
    parts: list[Trace] = []
    time_s, source = lay_out(rows, before_s=state.time_s, step_s=state.step_s)
    days = (time_s - offset) // DAY_S
    cuts = [0, *(np.flatnonzero(np.diff(days)) + 1).tolist(), len(time_s)]
    for first, stop in pairwise(cuts):
        if first == stop:
            continue
        if state.time_s is not None and (state.time_s - offset) // DAY_S != days[first]:
            state = _learn(state)
        state, part = _follow(state, time_s[first:stop], source[first:stop], rows, site, read_every_s)
        parts.append(part)
    if not parts:
        parts.append(_follow(state, time_s[:0], source[:0], rows, site, read_every_s)[1])
    return state, joined_trace(parts)


def _learn(state: ObserverState) -> ObserverState:
    fit, block = closed(state.fit, state.block, step_s=state.step_s)
    nodes = state.nodes.copy()
    nodes[:, NUDGED] = nodes[:, MAIN : MAIN + 1]
    variance = state.night_squares / np.maximum(state.night_rows, 1.0)
    gain = np.where(state.night_rows > _NIGHT_LEAST_ROWS, _NIGHT_GAIN, 0.0)
    usual = state.night_sd_c * state.night_sd_c
    return replace(
        state,
        fit=learn(fit),
        block=block,
        nodes=nodes,
        night_sd_c=np.sqrt(usual + gain * (variance - usual)),
        night_squares=np.zeros_like(variance),
        night_rows=np.zeros_like(variance),
    )


def _follow(
    state: ObserverState, time_s: IntArray, source: IntArray, rows: PlaceRows, site: Site,
    read_every_s: FloatArray | None,
) -> tuple[ObserverState, Trace]:  # fmt: skip
    """A stretch within one day of learning."""
    n, minutes = len(time_s), state.step_s / 60.0
    b = state.lid.shape[0]
    outside, air, soil = (taken(v, source) for v in (rows.outside_air_c, rows.air_c, rows.soil_c))
    lid, told, moved_min = _lid_of(state, taken(rows.lid, source))
    cover = filled_forward(taken(rows.cover, source), state.cover)

    h = len(state.window)
    past = extend(state.window, outside_c=outside, air_c=air, soil_c=soil)
    trends = trends_of(past, newest=n, minutes=minutes, read_every_s=read_every_s)
    grain = finest_step_c(past.air_c, state.grain_c, newest=n)

    heard = ~np.isnan(np.concatenate([air, outside[:, None]], axis=1))
    silent = rows_since(heard, state.silent_min, minutes=minutes)
    before = np.concatenate([state.silent_min[None], silent[:-1]])[:n]
    known = heard[:, :b]
    snap = known & (before[:, :b] > _SILENCE_MIN)
    snapped_min = rows_since(snap, state.snapped_min, minutes=minutes)
    held_outside = filled_forward(trends.outside15_c[:, None], np.array([state.outside_c]))[:, 0]
    drive_outside = held_outside
    if np.isnan(held_outside).any():
        drive_outside = np.where(
            np.isnan(held_outside), _stand_in(trends.soil15_c, trends.air5_c), held_outside
        )
    bank_outside = np.where(np.isnan(trends.outside3_c), drive_outside, trends.outside3_c)

    if site.has_sun:
        elevation, azimuth = solar_position(time_s, site.latitude, site.longitude)
        clear = clear_sky_w_m2(elevation)
    else:
        elevation, azimuth, clear = np.full(n, np.nan), np.full(n, np.nan), np.zeros(n)

    drive = Drive(
        air_c=np.where(known, air, 0.0),
        known=known.astype(float),
        snap=snap,
        outside_c=drive_outside,
        bank_outside_c=bank_outside,
        soil_c=trends.soil15_c,
        lid=lid,
        cover=np.nan_to_num(cover),
        sun_c=SUN_GAIN_C_PER_MIN * clear,
        by_day=clear > SUN_USED_W_M2,
    )
    nodes, errors, soils, chills_slow = run_filter(
        drive, nodes=state.nodes, soil_c=state.soil_c, chill_slow=state.chill_slow, theta=state.fit.theta,
        minutes=minutes, blind=not site.has_sun,
    )  # fmt: skip

    doubted = taken(rows.doubted, source) == 1.0
    learnable = (
        known
        & ~doubted
        & (silent[:, :b] == 0.0)
        & (moved_min > _LID_SETTLES_MIN)
        & (silent[:, b:] < _OUTSIDE_SILENCE_MIN)
        & (snapped_min > _SILENCE_MIN)
    )
    following = replace(
        state,
        time_s=int(time_s[-1]) if n else state.time_s,
        nodes=nodes[-1].copy() if n else state.nodes,
        chill_slow=chills_slow[-1].copy() if n else state.chill_slow,
        soil_c=soils[-1].copy() if n else state.soil_c,
        outside_c=float(held_outside[-1]) if n else state.outside_c,
        silent_min=silent[-1].copy() if n else state.silent_min,
        snapped_min=snapped_min[-1].copy() if n else state.snapped_min,
        moved_min=moved_min[-1].copy() if n else state.moved_min,
        lid=lid[-1].copy() if n else state.lid,
        cover=cover[-1].copy() if n else state.cover,
        window=last(past, h),
        grain_c=grain[-1].copy() if n else state.grain_c,
    )
    # By day a lid nobody told of is taken for shut: what the box then does is no sign that it has changed.
    tells = told | (clear <= 0.0)[:, None]
    fit, block = gathered(
        state.fit, state.block, time_s, errors[:, : 1 + N_RATES], before_s=state.time_s, step_s=state.step_s,
        learnable=learnable, judged=learnable & tells,
    )  # fmt: skip
    following = replace(following, fit=fit, block=block)
    following = _night_counted(following, errors[:, MAIN], learnable & (clear <= 0.0)[:, None])

    real = source >= 0
    theta = np.broadcast_to(state.fit.theta, (n, N_RATES, b))
    squares = np.concatenate(
        [state.error_tail, np.where(learnable & tells, errors[:, MAIN] * errors[:, MAIN], 0.0)]
    )
    hour = np.sqrt(trailing_mean(squares, h, newest=n, every=max(1, round(_MISFIT_EVERY_MIN / minutes))))
    fits = (
        ~doubted
        & state.fit.fits
        & (hour < np.maximum(_MISFIT_HOUR_RATIO * state.fit.usual_rms_c, _MISFIT_HOUR_C))
    )
    following = replace(following, error_tail=squares[len(squares) - h :].copy())
    trace = Trace(
        index=source, time_s=time_s, elevation_deg=elevation, azimuth_deg=azimuth, clear_sky_w_m2=clear,
        outside_c=held_outside, outside_known=silent[:, b] < _OUTSIDE_SILENCE_MIN,
        outside_trend_c_min=np.nan_to_num(trends.outside_c_min),
        air_c=nodes[:, AIR, MAIN], surface_c=nodes[:, SURFACE, MAIN], sun=nodes[:, SUN, MAIN],
        sun_slow=nodes[:, SUN_SLOW, MAIN], chill=nodes[:, CHILL, MAIN], error_c=errors[:, MAIN],
        bank_error_c=errors[:, BANK], bank_sun=nodes[:, SUN, BANK], soil_c=soils,
        measured_c=air, air3_c=trends.air3_c, air5_c=trends.air5_c, held5_c=trends.held5_c,
        slope5=trends.slope5, slope10=trends.slope10, slope45=trends.slope45,
        lid=lid, lid_told=told, cover=np.nan_to_num(cover), moved_min=moved_min,
        known=silent[:, :b] <= _SILENCE_MIN, doubted=doubted, fits=fits, theta=theta,
        night_sd_c=np.broadcast_to(state.night_sd_c, (n, b)), rounding_sd_c=rounding_sd_c(grain),
        chill_slow=chills_slow,
    )  # fmt: skip
    return following, trace if real.all() else kept_rows(trace, real)


def _night_counted(state: ObserverState, errors: FloatArray, counted: BoolArray) -> ObserverState:
    """Squares of the night's errors, added row by row so that no cut shows."""
    bounded = np.clip(errors, -_NIGHT_MOST_C, _NIGHT_MOST_C)
    squares = np.concatenate([state.night_squares[None], np.where(counted, bounded * bounded, 0.0)])
    rows = np.concatenate([state.night_rows[None], counted.astype(float)])
    return replace(
        state,
        night_squares=np.add.accumulate(squares, axis=0)[-1],
        night_rows=np.add.accumulate(rows, axis=0)[-1],
    )


def _lid_of(state: ObserverState, lid: FloatArray) -> tuple[FloatArray, BoolArray, FloatArray]:
    """Opening used, whether it was told, and minutes since it moved."""
    told = ~np.isnan(lid)
    used = np.where(told, lid, 0.0)
    before = np.concatenate([state.lid[None], used])[: len(used)]
    moved = np.abs(used - before) > 0.02
    return used, told, rows_since(moved, state.moved_min, minutes=state.step_s / 60.0)


def _stand_in(soil_c: FloatArray, air_c: FloatArray) -> FloatArray:
    """What to take for outside air where no probe ever told it: the soil, about the mean of a day."""
    values = np.where(np.isnan(soil_c), air_c, soil_c)
    known = ~np.isnan(values)
    total, count = np.zeros(len(values)), np.zeros(len(values))
    for k in range(values.shape[1]):
        total += np.where(known[:, k], values[:, k], 0.0)
        count += known[:, k]
    return np.where(count > 0, total / np.maximum(count, 1.0), 10.0)
