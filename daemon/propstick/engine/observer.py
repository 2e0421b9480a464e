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

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine.filter import (
    AIR,
    BANK,
    CHILL,
    COPIES,
    MAIN,
    NUDGED,
    SUN,
    SUN_SLOW,
    SURFACE,
    Drive,
    run_filter,
)
from propstick.engine.fit import BLOCK_S, N_RATES, FitState, gather, learn, start_fit
from propstick.engine.trace import (
    COVER_LOSS,
    COVER_SUN,
    SUN_USED_W_M2,
    Trace,
    joined_trace,
    kept_rows,
)
from propstick.engine.windows import (
    Window,
    extend,
    lagged,
    last,
    rows_since,
    start_window,
    trailing_least,
    trailing_mean,
    trailing_slope,
)
from propstick.garden import Box, Site
from propstick.physics.box import SUN_GAIN_C_PER_MIN
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.units import BoolArray, FloatArray, IntArray

__all__ = ["COVER_LOSS", "COVER_SUN", "SUN_USED_W_M2", "ObserverState", "Trace", "observe", "start"]

DAY_S = 86_400
_OUTSIDE_MEAN_MIN = 15
_BANK_OUTSIDE_MEAN_MIN = 3
_SILENCE_MIN = 10
_LID_SETTLES_MIN = 20
_OUTSIDE_SILENCE_MIN = 30
_CARRIED_S = 300.0
_NIGHT_SD_C = 0.07
_NIGHT_MOST_C = 0.25
_NIGHT_GAIN = 0.2
_NIGHT_LEAST_ROWS = 60
_MISFIT_HOUR_RATIO, _MISFIT_HOUR_C, _MISFIT_EVERY_MIN = 5.0, 0.5, 3
"""An hour whose error is this many times a usual day's, and this large, no longer fits; common practice."""
WINDOW_MIN = 60
"""How much of the past is carried for means and slopes."""
_LEARN_LOCAL_HOUR = 2.0
_BRIDGED_GAP_ROWS = 90


@dataclass(frozen=True)
class ObserverState:
    """All that is carried from row to row.

    Attributes:
        step_s: Seconds between the rows that are worked on, at least 60.
        time_s: Row last worked on; None before the first.
        nodes: Air, surface, sun index, its slow mean, chill of every copy, shape (5, 11, b).
        chill_slow: Mean night chill of the copy with the lid shut [°C/min], shape (b,).
        soil_c: Soil that drives the surface, shape (b,).
        outside_c: Last known outside air; NaN before the first.
        silent_min: Minutes since each box's air, then outside air, was last known, shape (b + 1,).
        snapped_min: Minutes since each box spoke again after a silence, shape (b,).
        moved_min: Minutes since each lid last moved, shape (b,).
        lid, cover: As last known, shape (b,).
        error_tail: Squared errors of the last hour, (h, b).
        night_sd_c: How far a minute is usually off at night, (b,).
        night_squares, night_rows: Today's evidence for it, (b,).
        fit: What is learnt.
        block_errors, block_weight: The unfinished learning block: sums of errors (7, b) and rows (b,).
        block_judged: Rows of it by which the box may be judged, (b,).
        window: The last hour of rows.
    """

    step_s: int
    time_s: int | None
    nodes: FloatArray
    chill_slow: FloatArray
    soil_c: FloatArray
    outside_c: float
    silent_min: FloatArray
    snapped_min: FloatArray
    moved_min: FloatArray
    lid: FloatArray
    cover: FloatArray
    error_tail: FloatArray
    night_sd_c: FloatArray
    night_squares: FloatArray
    night_rows: FloatArray
    fit: FitState
    block_errors: FloatArray
    block_weight: FloatArray
    block_judged: FloatArray
    window: Window


def step_used_s(step_s: int) -> int:
    """Seconds between the rows the model works on: the grid's step, or the first multiple of a minute."""
    return step_s * -(-60 // step_s)


def learns_at_s(site: Site) -> int:
    """Second of the UTC day at which yesterday is learnt from: about two in the morning there."""
    longitude = site.longitude or 0.0
    return int(round((_LEARN_LOCAL_HOUR - longitude / 15.0) % 24.0) % 24) * 3600


def start(boxes: tuple[Box, ...], step_s: int = 60) -> ObserverState:
    """Day one: nothing seen, the prior of each box."""
    b = len(boxes)
    step_s = step_used_s(step_s)
    nodes = np.zeros((5, COPIES, b))
    nodes[AIR:SUN] = 10.0
    nodes[SUN : SUN_SLOW + 1] = 0.6
    return ObserverState(
        step_s=step_s,
        time_s=None,
        nodes=nodes,
        chill_slow=np.zeros(b),
        soil_c=np.full(b, np.nan),
        outside_c=float("nan"),
        silent_min=np.full(b + 1, 1e6),
        snapped_min=np.full(b, 1e6),
        moved_min=np.full(b, 1e6),
        lid=np.zeros(b),
        cover=np.zeros(b),
        error_tail=np.zeros((WINDOW_MIN * 60 // step_s, b)),
        night_sd_c=np.full(b, _NIGHT_SD_C),
        night_squares=np.zeros(b),
        night_rows=np.zeros(b),
        fit=start_fit(boxes),
        block_errors=np.zeros((1 + N_RATES, b)),
        block_weight=np.zeros(b),
        block_judged=np.zeros(b),
        window=start_window(WINDOW_MIN * 60 // step_s, b),
    )


def observe(
    state: ObserverState, rows: PlaceRows, site: Site, *, read_every_s: FloatArray | None = None
) -> tuple[ObserverState, Trace]:
    """Follow the boxes through some rows.

    Args:
        read_every_s: Seconds between the readings of each box's air where they are slower than the grid,
            shape (b,); 0 for every row.

    Rows closer than a minute are thinned to whole steps of `state.step_s`; a gap in the rows is
    bridged by silence, up to an hour and a half, so that means and slopes keep their meaning.
    """
    offset = learns_at_s(site)
    parts: list[Trace] = []
    time_s, source = _lay_out(state, rows)
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


def _lay_out(state: ObserverState, rows: PlaceRows) -> tuple[IntArray, IntArray]:
    """Times to work on and, for each, the row it is (-1: a gap, treated as silence)."""
    index = np.flatnonzero(rows.time_s % state.step_s == 0)
    times = rows.time_s[index]
    if not len(times):
        return times.astype(np.int64), index
    before = times[0] - state.step_s if state.time_s is None else state.time_s
    steps = np.diff(times, prepend=before) // state.step_s
    if (steps == 1).all():
        return times, index
    missing = np.clip(steps - 1, 0, _BRIDGED_GAP_ROWS)
    stops = np.cumsum(missing + 1) - 1
    source = np.full(int(stops[-1]) + 1, -1, dtype=np.int64)
    source[stops] = index
    bridged = np.empty(len(source), dtype=np.int64)
    starts = stops - missing
    for k, stop in enumerate(stops):
        bridged[starts[k] : stop + 1] = times[k] - state.step_s * np.arange(missing[k], -1, -1)
    return bridged, source


def _learn(state: ObserverState) -> ObserverState:
    state = _close_block(state)
    nodes = state.nodes.copy()
    nodes[:, NUDGED] = nodes[:, MAIN : MAIN + 1]
    variance = state.night_squares / np.maximum(state.night_rows, 1.0)
    gain = np.where(state.night_rows > _NIGHT_LEAST_ROWS, _NIGHT_GAIN, 0.0)
    usual = state.night_sd_c * state.night_sd_c
    return replace(
        state,
        fit=learn(state.fit),
        nodes=nodes,
        night_sd_c=np.sqrt(usual + gain * (variance - usual)),
        night_squares=np.zeros_like(variance),
        night_rows=np.zeros_like(variance),
    )


def _close_block(state: ObserverState) -> ObserverState:
    rows = BLOCK_S / state.step_s
    counted = np.maximum(state.block_weight, 1e-9)
    return replace(
        state,
        fit=gather(
            state.fit,
            (state.block_errors / counted)[None],
            (state.block_weight / rows)[None],
            judged=(state.block_judged / rows)[None],
        ),
        block_errors=np.zeros_like(state.block_errors),
        block_weight=np.zeros_like(state.block_weight),
        block_judged=np.zeros_like(state.block_judged),
    )


def _taken(values: FloatArray, source: IntArray) -> FloatArray:
    """Rows by number, NaN for those that are a gap."""
    taken = values[source].astype(float)
    taken[source < 0] = np.nan
    return taken


def _follow(
    state: ObserverState, time_s: IntArray, source: IntArray, rows: PlaceRows, site: Site,
    read_every_s: FloatArray | None,
) -> tuple[ObserverState, Trace]:  # fmt: skip
    """A stretch within one day of learning."""
    n, minutes = len(time_s), state.step_s / 60.0
    b = state.lid.shape[0]
    outside, air, soil = (_taken(v, source) for v in (rows.outside_air_c, rows.air_c, rows.soil_c))
    lid, told, moved_min = _lid_of(state, _taken(rows.lid, source))
    cover = _filled_forward(_taken(rows.cover, source), state.cover)

    h = len(state.window)
    past = extend(state.window, outside_c=outside, air_c=air, soil_c=soil)
    count = lambda length: max(1, round(length / minutes))  # noqa: E731
    outside15 = trailing_mean(past.outside_c, count(_OUTSIDE_MEAN_MIN))
    outside3 = trailing_mean(past.outside_c, count(_BANK_OUTSIDE_MEAN_MIN), newest=n)
    lag30 = count(30)
    trend = ((outside15 - lagged(outside15, lag30)) / (lag30 * minutes))[h:]
    outside15 = outside15[h:]
    soil15 = trailing_mean(past.soil_c, count(_OUTSIDE_MEAN_MIN), newest=n)
    air3 = trailing_mean(past.air_c, count(3), newest=n)
    held5 = trailing_least(past.air_c, count(5))[h:]
    air5 = trailing_mean(past.air_c, count(5))
    lag5, lag45 = count(5), count(45)
    slope5 = ((air5 - lagged(air5, lag5)) / (lag5 * minutes))[h:]
    slope45 = ((air5 - lagged(air5, lag45)) / (lag45 * minutes))[h:]
    slope10 = trailing_slope(past.air_c, count(10), minutes=minutes, newest=n)
    air5 = air5[h:]
    for box in [] if read_every_s is None else np.flatnonzero(read_every_s > _CARRIED_S):
        # Between readings far apart a value is carried: means lag behind it, and slopes come in jumps.
        lag = min(count(read_every_s[box] / 60.0), h)
        rise = (past.air_c[h:, box] - lagged(past.air_c, lag)[h:, box]) / (lag * minutes)
        air5[:, box], slope5[:, box], slope10[:, box] = air[:, box], rise, rise

    heard = ~np.isnan(np.concatenate([air, outside[:, None]], axis=1))
    silent = rows_since(heard, state.silent_min, minutes=minutes)
    before = np.concatenate([state.silent_min[None], silent[:-1]])[:n]
    known = heard[:, :b]
    snap = known & (before[:, :b] > _SILENCE_MIN)
    snapped_min = rows_since(snap, state.snapped_min, minutes=minutes)
    held_outside = _filled_forward(outside15[:, None], np.array([state.outside_c]))[:, 0]
    drive_outside = held_outside
    if np.isnan(held_outside).any():
        drive_outside = np.where(np.isnan(held_outside), _stand_in(soil15, air5), held_outside)
    bank_outside = np.where(np.isnan(outside3), drive_outside, outside3)

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
        soil_c=soil15,
        lid=lid,
        cover=np.nan_to_num(cover),
        sun_c=SUN_GAIN_C_PER_MIN * clear,
        by_day=clear > SUN_USED_W_M2,
    )
    nodes, errors, soils, chills_slow = run_filter(
        drive, nodes=state.nodes, soil_c=state.soil_c, chill_slow=state.chill_slow, theta=state.fit.theta,
        minutes=minutes, blind=not site.has_sun,
    )  # fmt: skip

    learnable = (
        known
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
    )
    # By day a lid nobody told of is taken for shut: what the box then does is no sign that it has changed.
    tells = told | (clear <= 0.0)[:, None]
    following = _gathered(
        following, state.time_s, time_s, errors[:, : 1 + N_RATES], learnable, judged=learnable & tells
    )

    following = _night_counted(following, errors[:, MAIN], learnable & (clear <= 0.0)[:, None])

    real = source >= 0
    theta = np.broadcast_to(state.fit.theta, (n, N_RATES, b))
    squares = np.concatenate([state.error_tail, np.where(tells, errors[:, MAIN] * errors[:, MAIN], 0.0)])
    hour = np.sqrt(trailing_mean(squares, h, newest=n, every=count(_MISFIT_EVERY_MIN)))
    fits = state.fit.fits & (hour < np.maximum(_MISFIT_HOUR_RATIO * state.fit.usual_rms_c, _MISFIT_HOUR_C))
    following = replace(following, error_tail=squares[len(squares) - h :].copy())
    trace = Trace(
        index=source, time_s=time_s, elevation_deg=elevation, azimuth_deg=azimuth, clear_sky_w_m2=clear,
        outside_c=held_outside, outside_known=silent[:, b] < _OUTSIDE_SILENCE_MIN,
        outside_trend_c_min=np.nan_to_num(trend),
        air_c=nodes[:, AIR, MAIN], surface_c=nodes[:, SURFACE, MAIN], sun=nodes[:, SUN, MAIN],
        sun_slow=nodes[:, SUN_SLOW, MAIN], chill=nodes[:, CHILL, MAIN], error_c=errors[:, MAIN],
        bank_error_c=errors[:, BANK], bank_sun=nodes[:, SUN, BANK], soil_c=soils,
        measured_c=air, air3_c=air3, air5_c=air5, held5_c=held5,
        slope5=slope5, slope10=slope10, slope45=slope45,
        lid=lid, lid_told=told, cover=np.nan_to_num(cover), moved_min=moved_min,
        known=silent[:, :b] <= _SILENCE_MIN, fits=fits, theta=theta,
        night_sd_c=np.broadcast_to(state.night_sd_c, (n, b)), chill_slow=chills_slow,
    )  # fmt: skip
    return following, trace if real.all() else kept_rows(trace, real)


def _gathered(
    state: ObserverState, before_s: int | None, time_s: IntArray, errors: FloatArray, learnable: BoolArray,
    *, judged: BoolArray,
) -> ObserverState:  # fmt: skip
    """Errors summed into blocks of five minutes by the clock; finished blocks go to what is learnt."""
    if not len(time_s):
        return state
    weight = learnable.astype(float)
    blocks = time_s // BLOCK_S
    first_is_new = before_s is not None and before_s // BLOCK_S != blocks[0]
    if first_is_new:
        state = _close_block(state)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(blocks)) + 1])
    longest = int(np.diff(np.append(starts, len(blocks))).max())
    sums = np.zeros((len(starts), 1 + N_RATES, errors.shape[2]))
    counts, told = np.zeros((2, len(starts), errors.shape[2]))
    sums[0], counts[0], told[0] = state.block_errors, state.block_weight, state.block_judged
    stops = np.append(starts[1:], len(blocks))
    weighted = errors * weight[:, None]
    for k in range(longest):
        inside = starts + k < stops
        sums[inside] += weighted[starts[inside] + k]
        counts[inside] += weight[starts[inside] + k]
        told[inside] += judged[starts[inside] + k]
    done = slice(0, len(starts) - 1)
    fit = state.fit
    if len(starts) > 1:
        share = BLOCK_S / state.step_s
        mean = sums[done] / np.maximum(counts[done], 1e-9)[:, None]
        fit = gather(fit, mean, counts[done] / share, judged=told[done] / share)
    return replace(
        state, fit=fit, block_errors=sums[-1].copy(), block_weight=counts[-1].copy(),
        block_judged=told[-1].copy(),
    )  # fmt: skip


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


def _filled_forward(values: FloatArray, before: FloatArray) -> FloatArray:
    """Unknown values replaced by the last known one."""
    whole = np.concatenate([before[None], values])
    place = np.where(np.isnan(whole), 0, np.arange(len(whole))[:, None])
    latest = np.maximum.accumulate(place, axis=0)
    return np.take_along_axis(whole, latest, axis=0)[1:]


def _stand_in(soil_c: FloatArray, air_c: FloatArray) -> FloatArray:
    """What to take for outside air where no probe ever told it: the soil, about the mean of a day."""
    values = np.where(np.isnan(soil_c), air_c, soil_c)
    known = ~np.isnan(values)
    total, count = np.zeros(len(values)), np.zeros(len(values))
    for k in range(values.shape[1]):
        total += np.where(known[:, k], values[:, k], 0.0)
        count += known[:, k]
    return np.where(count > 0, total / np.maximum(count, 1.0), 10.0)
