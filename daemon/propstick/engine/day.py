"""Today's maximum with the lid shut, propped or open under a clear sky, and as it will probably be.

The minute model is run forward from where it stands now, under the sun this box gets when no cloud is
in the way and an outside air that rises as the evening-taught regression says (`rise.py`). For a shut
lid the plain method (outside maximum plus the best recent lift) is averaged in: each knows what the
other does not. Days that turn out clear with the lid so mark the forecast and set its interval.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.engine import plain
from propstick.engine import rise as outside_rise
from propstick.engine.ceiling import bin_of
from propstick.engine.evening import Window
from propstick.engine.marking import Record
from propstick.engine.nights import HOUR_S, Daylight
from propstick.engine.observer import COVER_LOSS, COVER_SUN
from propstick.engine.paths import Moments
from propstick.engine.rise import CLASSES, RiseState, issue_class
from propstick.engine.slots import SLOT_S, Slots
from propstick.garden import Site
from propstick.physics.box import SUN_GAIN_C_PER_MIN, air_exchange, step
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.units import BoolArray, FloatArray, IntArray

LIDS = ("closed", "propped", "open", "as-is")
OPENINGS = (0.0, 0.1, 1.0)
_Z90 = 1.6448536269514722
_MODEL_STEP_MIN = 5
_LIFT_DAYS = 10

# Tuned on invented boxes, no other authority.
PEAK_AFTER_NOON_S = 9_000
SOIL_FOLLOWS_PER_MIN = 0.010
SOIL_RETURNS_PER_MIN = 0.0015
SHUT_RECORD_DAYS = 3.0
SHUT_RECORD_C2 = 9.0
SHUT_FORGETTING = 0.85
SHARPNESS = 1.5
LIFT_ERROR = np.array([0.12, 0.25, 0.15, 0.33])
"""Error of a forecast beyond that of the outside's rise, as a share of its height above the outside."""
LEAST_ERROR_C = 0.7
RISE_SHARE = np.array([0.9, 0.95, 1.0, 0.9])
RECORD_DAYS = 8.0
RECORD_FORGETTING = 0.95
WIDEN_RATE = 0.02
CLEAR_SHARE = 0.85
GAIN_PRIOR = np.array([1.0, 0.9, 1.0])
"""The first crack of a lid vents more than its share; how much differs most between boxes."""
GAIN_DAYS = 2.0
GAIN_FORGETTING = 0.8
SHARE_PRIOR = np.array([0.50, 0.40])
SHARE_SPREAD = np.array([0.15, 0.25])
SHARE_NOISE = 0.22
TYPICAL_SHARE = 0.6
PROBE_ERROR_C = 0.2


@dataclass(frozen=True)
class DayState:
    """Carried from day to day; k issue classes, b boxes, lids in the order of LIDS.

    Attributes:
        rise: What is known of the outside's rise.
        lift_c: (box maximum - outside maximum) of past days with a shut lid, newest last, (10, b).
        lift_clear: Whether the sun shone when that maximum came, (10, b).
        shut_square_c2, shut_weight: Running mean squared error of the model and of the best lift on clear
            days with a shut lid [°C²], and their number, (2, b) and (b,).
        gain, gain_weight: How far the box really rises over what the model says with each lid, learnt on
            clear days it was held so, and how many those were, (3, b).
        issued_c, issued_sd_c: Today's forecasts, NaN = none yet, shape (k, lids, b).
        issued_s: When each was issued, 0 = not yet, shape (k,).
        issued_ground_c: Outside air (or box air without it) at each of today's issues, (k, b).
        issued_clear_c: Maximum under a clear sky with the lid as it stood, (k, b).
        issued_shut_c: The model and the best lift for a shut lid, (k, 2, b).
        issued_model_c: What the bare model said, NaN where it did not run, (k, 3, b).
        issued_share: Share of a clear sun at each issue, (k, b).
        square_c2, weight: Running mean squared error on days that tell, and their number, (k, lids, b).
        widen: Factor on the interval, (k, lids).
        share_precision, share_vector: What part of a clear day's rise comes, on what part of the sun
            shines at the issue: information form, (k, b, 2, 2) and (k, b, 2).
    """

    rise: RiseState
    lift_c: FloatArray
    lift_clear: BoolArray
    shut_square_c2: FloatArray
    shut_weight: FloatArray
    gain: FloatArray
    gain_weight: FloatArray
    issued_c: FloatArray
    issued_sd_c: FloatArray
    issued_s: IntArray
    issued_ground_c: FloatArray
    issued_clear_c: FloatArray
    issued_shut_c: FloatArray
    issued_model_c: FloatArray
    issued_share: FloatArray
    square_c2: FloatArray
    weight: FloatArray
    widen: FloatArray
    share_precision: FloatArray
    share_vector: FloatArray


@dataclass(frozen=True)
class DayMaximum:
    """The highest air from the issue to sunset for each lid, shape (lids, b); 90 % interval.

    Attributes:
        sd_c: Spread of the error of `max_c`.
        outside_max_c: The outside maximum it was reckoned with; NaN if unknown.
        method: What decided, per lid.
    """

    max_c: FloatArray
    low_c: FloatArray
    high_c: FloatArray
    sd_c: FloatArray
    outside_max_c: float
    method: tuple[str, ...]


def no_days(boxes: int) -> DayState:
    """Before the first day."""
    none = np.full((CLASSES, len(LIDS), boxes), np.nan)
    precision = np.broadcast_to(np.diag(1.0 / SHARE_SPREAD**2), (CLASSES, boxes, 2, 2)).copy()
    return DayState(
        rise=outside_rise.no_days(),
        lift_c=np.full((_LIFT_DAYS, boxes), np.nan),
        lift_clear=np.zeros((_LIFT_DAYS, boxes), dtype=bool),
        shut_square_c2=np.full((2, boxes), SHUT_RECORD_C2),
        shut_weight=np.zeros(boxes),
        gain=np.repeat(GAIN_PRIOR[:, None], boxes, axis=1),
        gain_weight=np.zeros((len(OPENINGS), boxes)),
        issued_c=none,
        issued_sd_c=none,
        issued_s=np.zeros(CLASSES, dtype=np.int64),
        issued_ground_c=none[:, 0],
        issued_clear_c=none[:, 0],
        issued_shut_c=none[:, :2],
        issued_model_c=none[:, :3],
        issued_share=none[:, 0],
        square_c2=np.zeros(none.shape),
        weight=np.zeros(none.shape),
        widen=np.ones((CLASSES, len(LIDS))),
        share_precision=precision,
        share_vector=np.broadcast_to(SHARE_PRIOR / SHARE_SPREAD**2, (CLASSES, boxes, 2)).copy(),
    )


def issue(
    state: DayState,
    slots: Slots,
    day: Daylight,
    *,
    time_s: int,
    site: Site,
    moment: Moments | None,
    ceiling: FloatArray,
) -> tuple[DayState, DayMaximum]:
    """The forecast at `time_s`, and the state that remembers it until sunset marks it.

    Args:
        moment: The minute model as it stands (one moment); None where it cannot be run.
        ceiling: Sun index of a clear sky by bearing, shape (bins, b).
    """  # fmt: skip
    k = issue_class(day, time_s)
    window = Window(slots, slots.index_of(time_s))
    model = np.full((len(OPENINGS), slots.boxes), np.nan)
    experts = np.full((2, slots.boxes), np.nan)
    rise = outside_rise.rise(state.rise, slots, day, time_s=time_s, site=site)
    air, lid = window.mean("air_c", 3)[:-1], window.mean("lid", 3)[:-1]
    outside = float(window.mean("air_c", 3)[-1])
    reference = np.where(np.isnan(outside), air, outside)
    now = slots.air_now()[:-1]
    best = plain.best_lift_c(state.lift_c)
    top = outside + rise.rise_c
    lids = np.stack([np.full_like(air, o) for o in OPENINGS] + [np.where(np.isnan(lid), 0.0, lid)])
    if moment is not None and site.has_sun and not np.isnan(outside):
        soil_day = _known_or(window.mean("soil_c", 288)[:-1], moment.soil_c[0])
        clear = clear_maximum_c(
            moment,
            lids,
            day=day,
            time_s=time_s,
            site=site,
            ceiling=ceiling,
            rise_c=rise.rise_c,
            soil_day_c=soil_day,
        )
        model = clear[:3]
        clear = reference + _gain_at(state, lids) * (clear - reference)
        plain_closed = top + best
        experts = np.stack([clear[0], plain_closed])
        share = _plain_share(state, plain_closed)
        clear[0] = (1.0 - share) * clear[0] + share * np.nan_to_num(plain_closed)
        methods = (_shut_method(share), "model", "model", "model")
    else:
        # Lifts through an open lid are small and much alike: an eighth of a shut one's, a third propped.
        scale = np.array([1.0, 0.35, 0.12])[:, None]
        height = np.concatenate([scale * best, np.interp(lids[3], OPENINGS, scale[:, 0])[None] * best])
        base = top if not np.isnan(top) else reference + rise.mean_c
        clear = base + height
        methods = ("best lift",) * 4
    clear = np.where(np.isnan(air), np.nan, clear)
    day_share = _known_or(window.mean("sun_share", 288)[:-1], np.full_like(air, TYPICAL_SHARE))
    sun_share = _known_or(window.mean("sun_share", 6)[:-1], day_share)
    comes = _share_that_comes(state, k, sun_share)
    expected = reference + np.clip(comes, 0.0, 1.1) * (clear[3] - reference)
    forecast = np.concatenate([clear[:3], expected[None]])
    forecast = np.fmax(forecast, np.where(np.isnan(forecast), np.nan, now))
    height = np.maximum(forecast - reference, 0.0)
    prior_square = (
        (RISE_SHARE[:, None] * rise.sd_c) ** 2 + (LIFT_ERROR[:, None] * height) ** 2 + LEAST_ERROR_C**2
    )
    n = state.weight[k]
    square = (RECORD_DAYS * prior_square + n * state.square_c2[k]) / (RECORD_DAYS + n)
    sd = state.widen[k][:, None] * np.sqrt(square)
    state = replace(
        state,
        issued_c=_set(state.issued_c, k, forecast),
        issued_sd_c=_set(state.issued_sd_c, k, sd),
        issued_s=_set(state.issued_s, k, np.int64(time_s)),
        issued_ground_c=_set(state.issued_ground_c, k, reference),
        issued_clear_c=_set(state.issued_clear_c, k, clear[3]),
        issued_shut_c=_set(state.issued_shut_c, k, experts),
        issued_model_c=_set(state.issued_model_c, k, model),
        issued_share=_set(state.issued_share, k, sun_share),
    )
    low = np.fmax(forecast - _Z90 * sd, np.minimum(now, forecast) - PROBE_ERROR_C)
    high = forecast + _Z90 * sd
    return state, DayMaximum(forecast, low, high, sd, top, methods)


def record(state: DayState, k: int) -> Record:
    """Ours beside the best recent lift, for a shut lid on clear days, from issue class `k`; shape (b,)."""
    return Record(ours=state.square_c2[k, 0], plain=state.shut_square_c2[1], count=state.shut_weight)


def clear_maximum_c(
    moment: Moments,
    lids: FloatArray,
    *,
    day: Daylight,
    time_s: int,
    site: Site,
    ceiling: FloatArray,
    rise_c: float,
    soil_day_c: FloatArray,
) -> FloatArray:
    """Highest air of the model run forward under a clear sky with each lid held, (lids, b) [°C].

    The outside rises as a quarter sine to its maximum 2.5 h after noon and falls slowly after it.
    """  # fmt: skip
    peak_s = day.noon_s + PEAK_AFTER_NOON_S
    times = np.arange(time_s + 60 * _MODEL_STEP_MIN, max(peak_s + 3600, time_s + 7200), 60 * _MODEL_STEP_MIN)
    height, bearing = solar_position(times.astype(float), site.latitude, site.longitude)
    sun = SUN_GAIN_C_PER_MIN * clear_sky_w_m2(height)[:, None] * ceiling[bin_of(bearing)]
    start_s = max(time_s, day.sunrise_s)
    path = outside_path_c(times, float(moment.outside_c[0]), rise_c, start_s=start_s, peak_s=peak_s)
    rates = type(moment.rates)(*(r[0] for r in moment.rates))
    # A mat is taken off by day; shut lids keep what cover they have only in the as-is run.
    cover = np.zeros_like(lids)
    cover[3:] = moment.cover[0]
    exchange = air_exchange(rates, lids) * (1.0 - (1.0 - COVER_LOSS) * cover)
    through = 1.0 - (1.0 - COVER_SUN) * cover
    air, surface, soil = (
        np.broadcast_to(v[0], lids.shape) for v in (moment.air_c, moment.surface_c, moment.soil_c)
    )
    most = air
    for k in range(len(times)):
        air, next_surface = step(
            air, surface, rates=rates, exchange=exchange, outside_c=path[k], soil_c=soil,
            sun_c=through * sun[k], chill_c=moment.chill[0], minutes=_MODEL_STEP_MIN,
        )  # fmt: skip
        soil = soil + _MODEL_STEP_MIN * (
            SOIL_FOLLOWS_PER_MIN * (surface - soil) + SOIL_RETURNS_PER_MIN * (soil_day_c - soil)
        )
        surface = next_surface
        most = np.maximum(most, air)
    return np.array(most)


def outside_path_c(
    times_s: FloatArray, now_c: float, rise_c: float, *, start_s: float, peak_s: float
) -> FloatArray:
    """Outside air on its way to the day's maximum: a quarter sine up, a slow parabola down."""
    up = np.clip((times_s - start_s) / max(peak_s - start_s, 1.0), 0.0, 1.0)
    down = np.clip((times_s - peak_s) / 14_400.0, 0.0, 1.0)
    return now_c + rise_c * (np.sin(0.5 * np.pi * up) - 0.35 * down * down)


def learn(state: DayState, slots: Slots, day: Daylight, *, site: Site) -> DayState:
    """The state after the sun has set: forecasts marked, the rise and the lifts learnt."""
    state = replace(state, rise=outside_rise.learn(state.rise, slots, day, site=site))
    first, last = slots.index_of(day.sunrise_s) + 1, slots.index_of(day.sunset_s) + 1
    high = slots.high[max(first, 0) : max(last, 0)].astype(np.float64)
    if len(high) < 6:
        return _cleared(state)
    told = _told(state, slots, first, last, high)
    lift = np.where(told.shut & told.whole, told.box_max_c - told.outside_max_c, np.nan)
    state = replace(
        state,
        lift_c=np.concatenate([state.lift_c[1:], lift[None]]),
        lift_clear=np.concatenate([state.lift_clear[1:], (told.clear & ~np.isnan(lift))[None]]),
    )
    square, weight, widen = state.square_c2.copy(), state.weight.copy(), state.widen.copy()
    for k in range(CLASSES):
        tells = np.concatenate([told.held_clear, (told.whole & ~told.moved[k])[None]])
        error = np.where(tells, told.box_max_c - state.issued_c[k], np.nan)
        known = ~np.isnan(error)
        n = RECORD_FORGETTING * weight[k] + known
        total = RECORD_FORGETTING * weight[k] * square[k] + np.nan_to_num(error) ** 2
        square[k] = np.where(known, total / np.maximum(n, 1e-9), square[k])
        weight[k] = np.where(known, n, weight[k])
        missed = known & (np.abs(error) > _Z90 * state.issued_sd_c[k])
        counted = known.sum(axis=1)
        share = np.where(counted > 0, missed.sum(axis=1) / np.maximum(counted, 1), 0.1)
        widen[k] = np.clip(widen[k] * np.exp(WIDEN_RATE * (share - 0.1) / 0.2), 0.6, 2.0)
    state = replace(state, square_c2=square, weight=weight, widen=widen)
    return _cleared(_learn_share(_learn_gain(_mark_shut(state, told), told), told))


@dataclass(frozen=True)
class _Told:
    """What a day came to, per box; `held_clear` (3, b) and `moved` (classes, b) say what it can teach."""

    box_max_c: FloatArray
    outside_max_c: float
    whole: BoolArray
    shut: BoolArray
    clear: BoolArray
    held_clear: BoolArray
    moved: BoolArray


def _told(state: DayState, slots: Slots, first: int, last: int, high: FloatArray) -> _Told:
    unknown = np.isnan(high[:, :-1])
    at = np.argmax(np.where(unknown, -np.inf, high[:, :-1]), axis=0)
    opening = slots.part("lid", first, last)[:, :-1]
    share = slots.part("sun_share", first, last)[:, :-1]
    before = 2 * HOUR_S // SLOT_S
    lid, sun, steady = np.empty(len(at)), np.empty(len(at)), np.ones(len(at), dtype=bool)
    moved = np.ones((CLASSES, len(at)), dtype=bool)
    for box, stop in enumerate(at):
        sun[box] = _mean(share[max(stop + 1 - before, 0) : stop + 1, box])
        # Also after it: a maximum that somebody ended by opening is not that of a shut box.
        around = opening[max(stop + 1 - before, 0) : stop + 1 + before, box]
        lid[box] = _mean(around)
        steady[box] = not np.fmax.reduce(np.abs(around - lid[box]), initial=0.0) > 0.05
        for k, issued_s in enumerate(state.issued_s):
            since = slots.index_of(float(issued_s)) - first
            if issued_s and 0 <= since + 1 <= stop:
                held = opening[max(since, 0) : stop + 1, box]
                moved[k, box] = bool(np.nan_to_num(np.fmax.reduce(np.abs(held - held[0]))) > 0.05)
    # A lid that is up makes the sun in its own box a poor witness: the shut boxes beside it tell.
    witnesses = sun[~(lid >= 0.05) & ~np.isnan(sun)]
    seen = np.median(witnesses) if len(witnesses) else np.nan
    clear = np.where(~(lid >= 0.05) | np.isnan(seen), sun, seen) >= CLEAR_SHARE
    whole = unknown.mean(axis=0) <= 0.1
    # An unknown lid counts as shut: a box with its lid up would not show a clear sun.
    held = np.stack([~(lid >= 0.05), (lid >= 0.05) & (lid <= 0.2), lid >= 0.8]) & steady
    outside_max = float(np.fmax.reduce(high[:, -1]))
    return _Told(
        high[at, np.arange(len(at))],
        outside_max,
        whole,
        ~(lid >= 0.05) & steady,
        clear,
        held & clear & whole,
        moved,
    )


def _learn_gain(state: DayState, told: _Told) -> DayState:
    """How far the box rose over the model, on clear days with a lid held: vents differ more than glass."""
    height = state.issued_model_c - state.issued_ground_c[:, None]
    ratio = (told.box_max_c - state.issued_ground_c[:, None]) / np.where(height > 3.0, height, np.nan)
    known = ~np.isnan(ratio)
    count = known.sum(axis=0)
    today = np.where(known, ratio, 0.0).sum(axis=0) / np.maximum(count, 1)
    tells = told.held_clear & (count > 0)
    n = np.where(tells, GAIN_FORGETTING * state.gain_weight + 1.0, state.gain_weight)
    moved = state.gain + (np.clip(today, 0.4, 1.6) - state.gain) / (n + GAIN_DAYS)
    return replace(state, gain=np.where(tells, moved, state.gain), gain_weight=n)


def _mark_shut(state: DayState, told: _Told) -> DayState:
    """Set the model's and the best lift's errors of a clear shut day beside the earlier ones."""
    error = told.box_max_c - state.issued_shut_c
    square = np.where(np.isnan(error).any(axis=1, keepdims=True), np.nan, error**2)
    known = ~np.isnan(square[:, 0])
    count = known.sum(axis=0)
    today = np.where(known[:, None], square, 0.0).sum(axis=0) / np.maximum(count, 1)
    tells = told.held_clear[0] & (count > 0)
    n = np.where(tells, SHUT_FORGETTING * state.shut_weight + 1.0, state.shut_weight)
    moved = state.shut_square_c2 + (today - state.shut_square_c2) / (n + SHUT_RECORD_DAYS)
    return replace(state, shut_square_c2=np.where(tells, moved, state.shut_square_c2), shut_weight=n)


def _plain_share(state: DayState, plain_closed_c: FloatArray) -> FloatArray:
    """Weight of the best lift beside the model, by their records.

    The best lift of ten dull days, or of days with the lid up, says nothing of a clear shut one.
    """
    weight = state.shut_square_c2**-SHARPNESS
    share = weight[1] / weight.sum(axis=0)
    return np.where(np.isnan(plain_closed_c) | ~state.lift_clear.any(axis=0), 0.0, share)


def _shut_method(share: FloatArray) -> str:
    if not (share > 0.0).any():
        return "model"
    return "best lift" if (share[share > 0.0] > 0.5).all() else "model and best lift"


def _gain_at(state: DayState, lids: FloatArray) -> FloatArray:
    """The gain of each box at each opening: straight between those learnt, shape of `lids`."""
    between = np.clip(lids / OPENINGS[1], 0.0, 1.0)
    beyond = np.clip((lids - OPENINGS[1]) / (OPENINGS[2] - OPENINGS[1]), 0.0, 1.0)
    shut, propped, wide = state.gain
    return shut + between * (propped - shut) + beyond * (wide - propped)


def _learn_share(state: DayState, told: _Told) -> DayState:
    """What part of the rise to a clear day's maximum came, regressed on the sun at the issue."""
    prior = np.diag(1.0 / SHARE_SPREAD**2)
    precision = 0.97 * state.share_precision + 0.03 * prior
    vector = 0.97 * state.share_vector + 0.03 * (SHARE_PRIOR / SHARE_SPREAD**2)
    for k in range(CLASSES):
        height = state.issued_clear_c[k] - state.issued_ground_c[k]
        counts = told.whole & ~told.moved[k] & (height > 3.0)
        came = (told.box_max_c - state.issued_ground_c[k]) / np.where(counts, height, 1.0)
        weight = np.where(counts, 1.0 / SHARE_NOISE**2, 0.0)
        x = np.stack([np.ones_like(height), state.issued_share[k]], axis=1)
        x = np.where(counts[:, None], x, 0.0)
        precision[k] += weight[:, None, None] * x[:, :, None] * x[:, None, :]
        vector[k] += (weight * np.where(counts, came, 0.0))[:, None] * x
    return replace(state, share_precision=precision, share_vector=vector)


def _share_that_comes(state: DayState, k: int, sun_share: FloatArray) -> FloatArray:
    coefficient = np.linalg.solve(state.share_precision[k], state.share_vector[k][..., None])[..., 0]
    return coefficient[:, 0] + coefficient[:, 1] * sun_share


def _cleared(state: DayState) -> DayState:
    none = np.full_like(state.issued_c, np.nan)
    return replace(
        state,
        issued_c=none,
        issued_sd_c=none,
        issued_s=np.zeros(CLASSES, dtype=np.int64),
        issued_ground_c=none[:, 0],
        issued_clear_c=none[:, 0],
        issued_shut_c=none[:, :2],
        issued_model_c=none[:, :3],
        issued_share=none[:, 0],
    )


def _set(values: FloatArray, k: int, row: FloatArray) -> FloatArray:
    changed = values.copy()
    changed[k] = row
    return changed


def _known_or(values: FloatArray, instead: FloatArray) -> FloatArray:
    return np.where(np.isnan(values), instead, values)


def _mean(values: FloatArray) -> float:
    known = values[~np.isnan(values)]
    return float(known.mean()) if len(known) else float("nan")
