"""What a day came to, and what it teaches, once the sun has set."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.engine import rise as outside_rise
from propstick.engine.day_record import GAIN_PRIOR, GAIN_WITHIN, SHARE_PRIOR, SHARE_SPREAD, DayState, cleared
from propstick.engine.nights import HOUR_S, Daylight
from propstick.engine.rise import CLASSES
from propstick.engine.slots import SLOT_S, Slots
from propstick.engine.telling_days import known_quantile
from propstick.engine.usual_box import usual_rise_c
from propstick.garden import Site
from propstick.units import BoolArray, FloatArray

_Z90 = 1.6448536269514722

# Tuned on invented boxes, no other authority.
CLEAR_SHARE = 0.85
"""Share of a clear sun in the two hours before the maximum from which a day counts as clear."""
RECORD_FORGETTING = 0.95
WIDEN_RATE = 0.02
SHUT_RECORD_DAYS = 3.0
SHUT_FORGETTING = 0.85
GAIN_PSEUDO = 1
"""Remembered days that the prior counts for."""
GAIN_QUANTILE = (0.6, 0.7)
"""A day passes for clear with a cloud or two: a really clear one lies above the middle of those."""
LEAST_LIFT_C = 2.0
"""A smaller rise over the outside tells nothing of a box."""
LEVEL_FORGETTING = 0.96
SHARE_FORGETTING = 0.97
SHARE_NOISE = 0.22


def learn(state: DayState, slots: Slots, day: Daylight, *, site: Site) -> DayState:
    """The state after the sun has set: forecasts marked, the rise and the lifts learnt."""
    state = replace(state, rise=outside_rise.learn(state.rise, slots, day, site=site))
    first, last = slots.index_of(day.sunrise_s) + 1, slots.index_of(day.sunset_s) + 1
    high = slots.high[max(first, 0) : max(last, 0)].astype(np.float64)
    if len(high) < 6:
        return cleared(state)
    told = _told(state, slots, first, last, high)
    lift = np.where(told.whole, told.box_max_c - told.outside_max_c, np.nan)
    state = replace(state, max_before_c=told.box_max_c, lift_before_c=lift, lid_before=told.lid)
    lift = np.where(told.shut, lift, np.nan)
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
    state = _mark_as_is(_mark_shut(state, told), told)
    usual_c = usual_rise_c(day, site=site, top_c=told.outside_max_c)
    state = _learn_shut(_learn_level(state), told, usual_c)
    return cleared(_learn_share(_learn_gain(state, told), told))


@dataclass(frozen=True)
class _Told:
    """What a day came to, per box; `held_clear` (3, b) and `moved` (classes, b) say what it can teach."""

    box_max_c: FloatArray
    lid: FloatArray
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
        np.where(np.isnan(lid), 0.0, lid),
        outside_max,
        whole,
        ~(lid >= 0.05) & steady,
        clear,
        held & clear & whole,
        moved,
    )


def _learn_level(state: DayState) -> DayState:
    """Take the rise the model foresaw today into its mean."""
    known = ~np.isnan(state.issued_level)
    n = LEVEL_FORGETTING * state.level_weight + 1.0
    level = state.level + (np.nan_to_num(state.issued_level) - state.level) / n
    return replace(
        state,
        level=np.where(known, level, state.level),
        level_weight=np.where(known, n, state.level_weight),
    )


def _learn_shut(state: DayState, told: _Told, usual_c: float) -> DayState:
    """Remember how far a clear day carried the shut box above the outside.

    From the highest outside to the highest inside, and beside what a usual box does under such a sun: so
    that neither the outside's own forecast nor what the model believed that day comes into it.
    """
    level = np.log(np.maximum(told.box_max_c - told.outside_max_c, LEAST_LIFT_C) / usual_c)
    tells = told.held_clear[0] & ~np.isnan(level)
    kept = np.concatenate([state.shut_levels[1:], level[None]])
    return replace(state, shut_levels=np.where(tells, kept, state.shut_levels))


def _learn_gain(state: DayState, told: _Told) -> DayState:
    """How far the box rose above the outside, beside the model, on clear days it was propped or open."""
    lift = (state.issued_model_c - state.issued_top_c[:, None, None])[:, 1:]
    ratio = (told.box_max_c - told.outside_max_c) / np.where(lift > LEAST_LIFT_C, lift, np.nan)
    known = ~np.isnan(ratio)
    count = known.sum(axis=0)
    today = np.where(known, ratio, 0.0).sum(axis=0) / np.maximum(count, 1)
    tells = told.held_clear[1:] & (count > 0)
    kept = np.concatenate([state.ratios[1:], np.clip(today, *GAIN_WITHIN)[None]])
    ratios = np.where(tells, kept, state.ratios)
    pseudo = np.broadcast_to(GAIN_PRIOR[:, None], (GAIN_PSEUDO, *tells.shape))
    seen = np.concatenate([ratios, pseudo])
    gain = np.stack([known_quantile(seen[:, lid], share) for lid, share in enumerate(GAIN_QUANTILE)])
    return replace(state, ratios=ratios, gain=gain, gain_weight=(~np.isnan(ratios)).sum(axis=0).astype(float))


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


def _mark_as_is(state: DayState, told: _Told) -> DayState:
    """Set the errors of both forecasts for a lid that stayed as it was beside the earlier ones."""
    square = (told.box_max_c - state.issued_as_is_c) ** 2
    tells = told.whole & ~told.moved & ~np.isnan(square).any(axis=1)
    n = np.where(tells, SHUT_FORGETTING * state.as_is_weight + 1.0, state.as_is_weight)
    moved = state.as_is_square_c2 + (square - state.as_is_square_c2) / (n + SHUT_RECORD_DAYS)[:, None]
    return replace(
        state, as_is_square_c2=np.where(tells[:, None], moved, state.as_is_square_c2), as_is_weight=n
    )


def _learn_share(state: DayState, told: _Told) -> DayState:
    """What part of the rise to a clear day's maximum came, regressed on the sun at the issue."""
    prior = np.diag(1.0 / SHARE_SPREAD**2)
    precision = SHARE_FORGETTING * state.share_precision + (1.0 - SHARE_FORGETTING) * prior
    vector = SHARE_FORGETTING * state.share_vector + (1.0 - SHARE_FORGETTING) * (
        SHARE_PRIOR / SHARE_SPREAD**2
    )
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


def _mean(values: FloatArray) -> float:
    known = values[~np.isnan(values)]
    return float(known.mean()) if len(known) else float("nan")
