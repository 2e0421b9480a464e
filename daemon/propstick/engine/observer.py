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
from propstick.engine.fit import BLOCK_S, N_RATES, NUDGE_LOG, FitState, gather, learn, rates_of, start_fit
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
from propstick.physics.box import SUN_GAIN_C_PER_MIN, BoxRates, air_exchange
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.units import BoolArray, FloatArray, IntArray

DAY_S = 86_400
LID_BANK = (0.0, 0.1, 0.3, 1.0)
"""Openings the parallel copies are held at."""
MAIN = 0
NUDGED = slice(1, 1 + N_RATES)
BANK = slice(1 + N_RATES, 1 + N_RATES + len(LID_BANK))
COPIES = 1 + N_RATES + len(LID_BANK)
AIR, SURFACE, SUN, SUN_SLOW, CHILL = range(5)

SUN_USED_W_M2 = 60.0
"""Below this clear-sky sun the box's warmth says nothing about clouds."""
COVER_LOSS = 0.6
COVER_SUN = 0.1
"""Loss and sun left under a mat or blanket; common practice, no source."""

# Gains per minute, tuned on invented boxes; the notes in DEVELOPERS.md say how.
_AIR_GAIN = 0.35
_SURFACE_GAIN = 0.15
_SUN_GAIN = 0.15
_CHILL_GAIN = 0.01
_CHILL_RANGE = (-0.1, 0.25)
_CLOUD_FORGOTTEN_MIN = 12.0
_SUN_SLOW_MIN = 60.0
_SUN_MOST = 2.5
_SUN_ERROR_MOST_C = 1.5
# Without a site the sun is unknown: all unexplained warmth is one slowly forgotten flux.
_BLIND_GAIN = 0.06
_BLIND_RANGE = (-3.0, 3.0)
_BLIND_FORGOTTEN_MIN = 60.0

_OUTSIDE_MEAN_MIN = 15
_BANK_OUTSIDE_MEAN_MIN = 3
_SILENCE_MIN = 10
_LID_SHUT = 0.05
_LID_SETTLES_MIN = 20
_OUTSIDE_SILENCE_MIN = 30
_NIGHT_SD_C = 0.07
_NIGHT_MOST_C = 0.25
_NIGHT_GAIN = 0.2
_NIGHT_LEAST_ROWS = 60
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
        night_sd_c: How far a minute is usually off at night, (b,).
        night_squares, night_rows: Today's evidence for it, (b,).
        fit: What is learnt.
        block_errors, block_weight: The unfinished learning block: sums of errors (7, b) and rows (b,).
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
    night_sd_c: FloatArray
    night_squares: FloatArray
    night_rows: FloatArray
    fit: FitState
    block_errors: FloatArray
    block_weight: FloatArray
    window: Window


@dataclass(frozen=True)
class Trace:
    """What the observer made of the rows it worked on: n rows, b boxes.

    Attributes:
        index: Which of the given rows each is (rows closer than a minute are thinned), (n,).
        time_s: (n,).
        elevation_deg, azimuth_deg, clear_sky_w_m2: The sun, (n,); NaN, NaN and 0 without a site.
        outside_c: 15-min mean outside, carried over silence; NaN if never known, (n,).
        outside_known: Whether outside air was known in the last half hour, (n,).
        outside_trend_c_min: Its trend over the last 30 min, (n,).
        air_c, surface_c, sun, sun_slow, chill: The model's state after the reading, (n, b).
        error_c: Reading minus model before the reading; 0 where there was none, (n, b).
        bank_error_c: The same for the lid held at each of `LID_BANK`, (n, 4, b).
        bank_sun: Sun index with the lid held there, (n, 4, b).
        soil_c: Soil that drives the surface, (n, b).
        measured_c: Air as read, NaN where silent, (n, b).
        air3_c, air5_c: Mean of the readings of the last 3 and 5 min, NaN where none, (n, b).
        held5_c: What the readings of the last 5 min all reached, NaN where none, (n, b).
        slope5, slope10, slope45: Rise of the readings over these minutes [°C/min], NaN if unknown, (n, b).
        lid, lid_told: Opening used (0 where unknown), and whether it was told, (n, b).
        moved_min: Minutes since the lid was last told to have moved, (n, b).
        known: Whether the box's air was known in the last ten minutes, (n, b).
        fits: Whether the box behaved as learnt on the last judged day, (n, b).
        night_sd_c: How far a minute is usually off at night, (n, b).
        chill_slow: Usual chill of nights with the lid shut [°C/min], (n, b).
        theta: Logarithms of the rates in force, (n, 6, b).
    """

    index: IntArray
    time_s: IntArray
    elevation_deg: FloatArray
    azimuth_deg: FloatArray
    clear_sky_w_m2: FloatArray
    outside_c: FloatArray
    outside_known: BoolArray
    outside_trend_c_min: FloatArray
    air_c: FloatArray
    surface_c: FloatArray
    sun: FloatArray
    sun_slow: FloatArray
    chill: FloatArray
    error_c: FloatArray
    bank_error_c: FloatArray
    bank_sun: FloatArray
    soil_c: FloatArray
    measured_c: FloatArray
    air3_c: FloatArray
    air5_c: FloatArray
    held5_c: FloatArray
    slope5: FloatArray
    slope10: FloatArray
    slope45: FloatArray
    lid: FloatArray
    lid_told: BoolArray
    cover: FloatArray
    moved_min: FloatArray
    known: BoolArray
    fits: BoolArray
    night_sd_c: FloatArray
    chill_slow: FloatArray
    theta: FloatArray

    def __len__(self) -> int:
        return int(self.time_s.shape[0])


@dataclass(frozen=True)
class _Drive:
    """What the filter loop reads, row by row: a stretch of rows with one set of rates."""

    air_c: FloatArray  # (n, b), 0 where silent
    known: FloatArray  # (n, b), 1 where read
    snap: FloatArray  # (n, b), True where a box speaks again after a silence
    outside_c: FloatArray  # (n,)
    bank_outside_c: FloatArray  # (n,)
    soil_c: FloatArray  # (n, b), NaN where unknown
    lid: FloatArray  # (n, b)
    cover: FloatArray  # (n, b)
    sun_c: FloatArray  # (n,) warming by a clear sky [°C/min]
    by_day: FloatArray  # (n,) bool


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
        night_sd_c=np.full(b, _NIGHT_SD_C),
        night_squares=np.zeros(b),
        night_rows=np.zeros(b),
        fit=start_fit(boxes),
        block_errors=np.zeros((1 + N_RATES, b)),
        block_weight=np.zeros(b),
        window=start_window(WINDOW_MIN * 60 // step_s, b),
    )


def observe(state: ObserverState, rows: PlaceRows, site: Site) -> tuple[ObserverState, Trace]:
    """Follow the boxes through some rows.

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
        state, part = _follow(state, time_s[first:stop], source[first:stop], rows, site)
        parts.append(part)
    if not parts:
        parts.append(_follow(state, time_s[:0], source[:0], rows, site)[1])
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
        fit=gather(state.fit, (state.block_errors / counted)[None], (state.block_weight / rows)[None]),
        block_errors=np.zeros_like(state.block_errors),
        block_weight=np.zeros_like(state.block_weight),
    )


def _taken(values: FloatArray, source: IntArray) -> FloatArray:
    """Rows by number, NaN for those that are a gap."""
    taken = values[source].astype(float)
    taken[source < 0] = np.nan
    return taken


def _follow(
    state: ObserverState, time_s: IntArray, source: IntArray, rows: PlaceRows, site: Site
) -> tuple[ObserverState, Trace]:
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
    outside3 = trailing_mean(past.outside_c, count(_BANK_OUTSIDE_MEAN_MIN))[h:]
    lag30 = count(30)
    trend = ((outside15 - lagged(outside15, lag30)) / (lag30 * minutes))[h:]
    outside15 = outside15[h:]
    soil15 = trailing_mean(past.soil_c, count(_OUTSIDE_MEAN_MIN))[h:]
    air3 = trailing_mean(past.air_c, count(3))[h:]
    held5 = trailing_least(past.air_c, count(5))[h:]
    air5 = trailing_mean(past.air_c, count(5))
    lag5, lag45 = count(5), count(45)
    slope5 = ((air5 - lagged(air5, lag5)) / (lag5 * minutes))[h:]
    slope45 = ((air5 - lagged(air5, lag45)) / (lag45 * minutes))[h:]
    slope10 = trailing_slope(past.air_c, count(10), minutes=minutes)[h:]
    air5 = air5[h:]

    heard = ~np.isnan(np.concatenate([air, outside[:, None]], axis=1))
    silent = rows_since(heard, state.silent_min, minutes=minutes)
    before = np.concatenate([state.silent_min[None], silent[:-1]])[:n]
    known = heard[:, :b]
    snap = known & (before[:, :b] > _SILENCE_MIN)
    snapped_min = rows_since(snap, state.snapped_min, minutes=minutes)
    held_outside = _filled_forward(outside15[:, None], np.array([state.outside_c]))[:, 0]
    drive_outside = np.where(np.isnan(held_outside), _stand_in(soil15, air5), held_outside)
    bank_outside = np.where(np.isnan(outside3), drive_outside, outside3)

    if site.has_sun:
        elevation, azimuth = solar_position(time_s, site.latitude, site.longitude)
        clear = clear_sky_w_m2(elevation)
    else:
        elevation, azimuth, clear = np.full(n, np.nan), np.full(n, np.nan), np.zeros(n)

    drive = _Drive(
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
    nodes, errors, soils, chills_slow = _filter(state, drive, blind=not site.has_sun)

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
    following = _gathered(following, state.time_s, time_s, errors[:, : 1 + N_RATES], learnable)

    following = _night_counted(following, errors[:, MAIN], learnable & (clear <= 0.0)[:, None])

    real = source >= 0
    theta = np.broadcast_to(state.fit.theta, (n, N_RATES, b))
    fits = np.broadcast_to(state.fit.fits, (n, b))
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
    return following, trace if real.all() else _kept(trace, real)


def _filter(
    state: ObserverState, drive: _Drive, *, blind: bool
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """The loop over rows: nodes (n, 5, 11, b), errors (n, 11, b), soil (n, b), slow chill (n, b)."""
    n, b = drive.air_c.shape
    dt = state.step_s / 60.0
    rates = _rates_of_copies(state.fit.theta)
    lids = np.repeat(drive.lid[:, None], COPIES, axis=1)
    lids[:, BANK] = np.array(LID_BANK)[:, None]
    covered = drive.cover[:, None]
    exchange = dt * air_exchange(rates, lids) * (1.0 - (1.0 - COVER_LOSS) * covered)
    outside = np.repeat(drive.outside_c[:, None], COPIES, axis=1)
    outside[:, BANK] = drive.bank_outside_c[:, None]
    from_outside = exchange * outside[:, :, None]
    soil_air = dt * rates.soil_air
    shrink = 1.0 / (1.0 + exchange + soil_air)
    sun_c = (dt * drive.sun_c)[:, None] * (1.0 - (1.0 - COVER_SUN) * drive.cover)  # (n, b)
    surface_air = dt * rates.surface_air
    surface_soil = dt * rates.surface_soil
    surface_keep = 1.0 - surface_air - surface_soil
    from_soil = surface_soil * np.where(np.isnan(drive.soil_c), 0.0, drive.soil_c)[:, None]
    surface_sun = rates.surface_sun

    air_gain, surface_gain, sun_gain, chill_gain = (
        1.0 - (1.0 - g) ** dt
        for g in (_AIR_GAIN, _SURFACE_GAIN, _SUN_GAIN, _BLIND_GAIN if blind else _CHILL_GAIN)
    )
    cloud_keep = float(np.exp(-dt / _CLOUD_FORGOTTEN_MIN))
    slow_gain = float(-np.expm1(-dt / _SUN_SLOW_MIN))
    chill_keep = float(np.exp(-dt / _BLIND_FORGOTTEN_MIN)) if blind else 1.0
    low, high = _BLIND_RANGE if blind else _CHILL_RANGE
    to_slow = float(-np.expm1(-dt / 1200.0))
    bank_pull = 1.0 - 0.99**dt
    sun_scale = np.where(sun_c > 1e-6, sun_gain * dt / np.maximum(sun_c, 1e-6), 0.0)

    # With the lid up the chill is the wind's as much as the sky's: only a shut box tells the sky's.
    to_slow_shut = to_slow * ((drive.lid < _LID_SHUT) & (drive.cover < 0.5)) * drive.known
    nodes_out, errors_out = np.empty((n, 5, COPIES, b)), np.empty((n, COPIES, b))
    chills_out = np.empty((n, b))
    soils = np.where(np.isnan(drive.soil_c), np.nan, drive.soil_c)
    nodes = state.nodes.copy()
    air, surface, sun, sun_slow, chill = nodes
    soil, chill_slow = state.soil_c.copy(), state.chill_slow.copy()
    model, warm, part, error = (np.empty((COPIES, b)) for _ in range(4))
    soil_missing = np.isnan(drive.soil_c).any(axis=1).tolist()
    snaps, by_day = drive.snap.any(axis=1).tolist(), drive.by_day.tolist()
    lit = (drive.sun_c > 0.0).tolist()
    for i in range(n):
        if snaps[i]:
            _start_afresh(nodes, drive.snap[i], drive.air_c[i], drive.soil_c[i])
        if soil_missing[i]:
            # A soil probe that is silent or absent: the soil follows its surface slowly.
            drift = np.where(np.isnan(soil), surface[MAIN], soil + 0.01 * dt * (surface[MAIN] - soil))
            soil = np.where(np.isnan(drive.soil_c[i]), drift, drive.soil_c[i])
            from_soil[i] = surface_soil * soil
            soils[i] = soil
        else:
            soil = drive.soil_c[i]
        np.multiply(soil_air, surface, out=model)
        model += air
        model += from_outside[i]
        model -= chill * dt if dt != 1.0 else chill
        surface *= surface_keep
        surface += from_soil[i]
        if lit[i]:
            np.multiply(sun, sun_c[i], out=warm)
            model += warm
            warm *= surface_sun
            surface += warm
        model *= shrink[i]
        np.multiply(surface_air, model, out=part)
        surface += part
        np.subtract(drive.air_c[i], model, out=error)
        error *= drive.known[i]
        np.multiply(error, air_gain, out=part)
        np.add(model, part, out=air)
        np.multiply(error, surface_gain, out=part)
        surface += part
        sun -= sun_slow
        sun *= cloud_keep
        sun += sun_slow
        if by_day[i]:
            np.minimum(error, _SUN_ERROR_MOST_C, out=part)
            np.maximum(part, -_SUN_ERROR_MOST_C, out=part)
            part *= sun_scale[i]
            sun += part
            np.maximum(sun, 0.0, out=sun)
            np.minimum(sun, _SUN_MOST, out=sun)
            np.subtract(sun, sun_slow, out=part)
            part *= slow_gain
            sun_slow += part
        else:
            np.multiply(error, chill_gain, out=part)
            chill -= part
            chill[BANK] += bank_pull * (chill_slow - chill[BANK])
            if blind:
                chill *= chill_keep
            np.maximum(chill, low, out=chill)
            np.minimum(chill, high, out=chill)
            chill_slow += to_slow_shut[i] * (chill[MAIN] - chill_slow)
        chills_out[i] = chill_slow
        nodes_out[i] = nodes
        errors_out[i] = error
    return nodes_out, errors_out, soils, chills_out


def _rates_of_copies(theta: FloatArray) -> BoxRates:
    """Rates of every copy, six arrays (11, b): the nudged ones differ in one logarithm each."""
    copies = np.repeat(theta[:, None], COPIES, axis=1)
    for k in range(N_RATES):
        copies[k, 1 + k] += NUDGE_LOG
    return rates_of(copies)


def _start_afresh(nodes: FloatArray, snap: BoolArray, air_c: FloatArray, soil_c: FloatArray) -> None:
    """A box that speaks again after a silence is where it says it is; its soil surface lies between."""
    surface = np.where(np.isnan(soil_c), air_c, 0.5 * (air_c + soil_c))
    nodes[AIR] = np.where(snap, air_c, nodes[AIR])
    nodes[SURFACE] = np.where(snap, surface, nodes[SURFACE])


def _gathered(
    state: ObserverState, before_s: int | None, time_s: IntArray, errors: FloatArray, learnable: BoolArray
) -> ObserverState:
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
    counts = np.zeros((len(starts), errors.shape[2]))
    sums[0], counts[0] = state.block_errors, state.block_weight
    stops = np.append(starts[1:], len(blocks))
    weighted = errors * weight[:, None]
    for k in range(longest):
        inside = starts + k < stops
        sums[inside] += weighted[starts[inside] + k]
        counts[inside] += weight[starts[inside] + k]
    done = slice(0, len(starts) - 1)
    fit = state.fit
    if len(starts) > 1:
        share = BLOCK_S / state.step_s
        mean = sums[done] / np.maximum(counts[done], 1e-9)[:, None]
        fit = gather(fit, mean, counts[done] / share)
    return replace(state, fit=fit, block_errors=sums[-1].copy(), block_weight=counts[-1].copy())


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


def _kept(trace: Trace, rows: BoolArray) -> Trace:
    return Trace(**{name: getattr(trace, name)[rows] for name in Trace.__dataclass_fields__})


def joined_trace(parts: list[Trace], *, shifts: list[int] | None = None) -> Trace:
    """Traces laid end to end; `shifts` is added to each one's row numbers."""
    if len(parts) == 1:
        return parts[0]
    names = Trace.__dataclass_fields__
    whole = Trace(**{name: np.concatenate([getattr(p, name) for p in parts]) for name in names})
    if shifts is None:
        return whole
    index = [part.index + shift for part, shift in zip(parts, shifts, strict=True)]
    return replace(whole, index=np.concatenate(index))
