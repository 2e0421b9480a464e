"""Tonight's minimum per box: learnt every morning, issued at any row from the evening brief on.

A regression of the drop on what the evening says (`night_regression.py`) stands beside the plain
methods; what is issued is their mean weighted by their recent record.
Its interval is as wide as its own recent errors at the same hour were.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.engine import night_regression, plain, shelter
from propstick.engine.evening import Evening, Window, evening_at
from propstick.engine.marking import MISFIT_WIDENS, Record
from propstick.engine.night_regression import Regression, Sample
from propstick.engine.nights import HOUR_S, Night
from propstick.engine.scores import normal_cdf
from propstick.engine.shelter import Gains, ShelterState
from propstick.engine.slots import SLOT_S, Slots
from propstick.units import BoolArray, FloatArray

HOURS = 20
"""Issue hours with a record of their own: -1 (the brief), 0, 1 … after sunset; the last takes the rest."""
EXPERTS = ("learnt", "prior", "mean drop", "FAO")
_PLAIN = slice(2, 4)
_Z90 = 1.6448536269514722

# Tuned on development nights, no other authority.
RECORD_FORGETTING = 0.95
RECORD_NIGHTS = 8.0
SHARPNESS = 5.0
PLAIN_ERROR = np.array([1.0, 1.05, 1.35, 1.35])
"""Errors of the experts before they have a record, relative to the regression's."""
NEW_VARIANCE = 1.5
NEW_NIGHTS = 6.0
WIDEN_RATE = 0.25
"""Per unit of (share missed - 0.1): the factor on the interval follows what it misses."""
BIAS_NIGHTS = 12.0


@dataclass(frozen=True)
class NightState:
    """All that is remembered of past nights; h issue hours, c columns (boxes, then outside).

    Attributes:
        plain: Record of the plain methods.
        regression: What is learnt of how evenings foretell nights.
        expert_square: Running mean squared error of each expert [°C²], shape (h, c, experts).
        expert_weight: Nights in it, shape (h, c).
        square_c2, bias_c, weight: The same of the forecast as issued, shape (h, c).
        widen: Factor on the interval at each hour, shape (h,).
        shelter: How much warmer than outside each box stays.
        nights: Nights learnt.
    """

    plain: plain.NightRecord
    regression: Regression
    expert_square: FloatArray
    expert_weight: FloatArray
    square_c2: FloatArray
    bias_c: FloatArray
    weight: FloatArray
    widen: FloatArray
    shelter: ShelterState
    nights: int


@dataclass(frozen=True)
class NightMinimum:
    """The lowest air from the issue to the night's end, per column (boxes, then outside); shape (c,).

    Attributes:
        min_c, low_c, high_c: Forecast and its 90 % interval; NaN where air is unknown.
        sd_c: Spread of the error of `min_c` before it is capped at the present air.
        now_c: Air at the issue: the minimum cannot be above it.
        method: What decided, per column.
        gains: What closing or covering now would add, per box.
    """

    min_c: FloatArray
    low_c: FloatArray
    high_c: FloatArray
    sd_c: FloatArray
    now_c: FloatArray
    method: tuple[str, ...]
    gains: Gains

    def p_below(self, limit_c: FloatArray | float) -> FloatArray:
        """Chance that the lowest air is below `limit_c`, shape (c,)."""
        chance = normal_cdf((limit_c - self.min_c) / self.sd_c)
        return np.where(self.now_c < limit_c, np.where(np.isnan(self.now_c), np.nan, 1.0), chance)


def widened(forecast: NightMinimum, fits: BoolArray) -> NightMinimum:
    """The forecast with wider intervals for boxes that do not behave as learnt, `fits` (b,)."""
    factor = np.where(np.append(fits, True), 1.0, MISFIT_WIDENS)
    low = forecast.min_c - factor * (forecast.min_c - forecast.low_c)
    high = forecast.min_c + factor * (forecast.high_c - forecast.min_c)
    return replace(forecast, low_c=low, high_c=high, sd_c=factor * forecast.sd_c)


def no_nights(boxes: int) -> NightState:
    """Before the first night: the prior decides."""
    columns = boxes + 1
    return NightState(
        plain=plain.no_nights(HOURS, columns),
        regression=night_regression.start(boxes),
        expert_square=np.zeros((HOURS, columns, len(EXPERTS))),
        expert_weight=np.zeros((HOURS, columns)),
        square_c2=np.zeros((HOURS, columns)),
        bias_c=np.zeros((HOURS, columns)),
        weight=np.zeros((HOURS, columns)),
        widen=np.ones(HOURS),
        shelter=shelter.no_nights(boxes),
        nights=0,
    )


def minimum(
    state: NightState, slots: Slots, night: Night, *, time_s: int, stale: BoolArray | None = None
) -> NightMinimum:
    """The forecast issued at `time_s`, from `slots` as they stood then.

    Args:
        stale: Columns read so seldom that the air now is not known, but what it was at the last reading; it
            may have risen since, and bounds their interval no more than what is foretold does. Shape (c,).
    """
    issue = _issue(state, slots, night, time_s)
    now = slots.air_now()
    chosen_c, sd, method = _decided(state, issue)
    sd = np.maximum(sd, 0.05)
    # The air now bounds a forecast; it is none where nothing is foretold yet.
    bound = np.where(np.isnan(chosen_c), np.nan, now)
    centre = np.fmin(chosen_c, bound)
    low = np.fmin(chosen_c - _Z90 * sd, bound)
    high = chosen_c + _Z90 * sd
    capped = np.fmin(high, bound)
    high = capped if stale is None else np.where(stale, high, capped)
    window = Window(slots, slots.index_of(time_s))
    lid, cover = (window.mean(place, 3)[:-1] for place in ("lid", "cover"))
    gains = shelter.gains(state.shelter, lid=lid, cover=cover)
    return NightMinimum(centre, low, high, sd, now, method, gains)


def learn(state: NightState, slots: Slots, night: Night) -> NightState:
    """The state after a night that has just ended: every issue hour marked, then learnt from."""
    issues, truths = [], []
    for hour in range(-1, HOURS - 1):
        time_s = -(-(night.sunset_s + hour * HOUR_S) // SLOT_S) * SLOT_S
        if time_s >= night.sunrise_s:
            break
        issues.append(_issue(state, slots, night, time_s))
        truths.append(_truth(slots, night, time_s))
    if not issues or np.isnan(np.stack(truths)).all():
        return state
    state = _mark(_sheltered(state, slots, night, issues, truths), issues, truths)
    return _regress(state, issues, truths)


@dataclass(frozen=True)
class _Issue:
    hour: int
    bin: int
    evening: Evening
    drop_c: FloatArray
    min_c: FloatArray
    sd_c: FloatArray
    method: tuple[str, ...]


def _issue(state: NightState, slots: Slots, night: Night, time_s: int) -> _Issue:
    hour = int(np.clip(night.issue_hour(time_s) + 1, 0, HOURS - 1))
    left = night.hours_left(time_s)
    usual = plain.usual_drop_c(state.plain, hour, hours_left=left)
    evening = evening_at(slots, night, time_s, usual_drop_c=usual)
    which = night_regression.bin_of(hour - 1, left)
    drops = _expert_drops(state, evening, hour, which)
    noise = night_regression.noise_c(evening, which)
    square = _expected_square(state, hour, noise)
    weight = np.where(np.isnan(drops), 0.0, square**-SHARPNESS)
    drop = _weighted_mean(drops, weight)
    n = state.weight[hour]
    bias = state.bias_c[hour] * n / (n + BIAS_NIGHTS)
    own_square = (RECORD_NIGHTS * noise**2 + n * state.square_c2[hour]) / (RECORD_NIGHTS + n)
    # In the first nights the regression itself is uncertain, not only the weather.
    own_square = own_square * (1.0 + NEW_VARIANCE * np.exp(-n / NEW_NIGHTS))
    sd = state.widen[hour] * np.sqrt(own_square)
    best = np.argmax(weight, axis=1)
    method = tuple(EXPERTS[k] for k in best)
    return _Issue(hour, which, evening, drops, evening.air_c + drop - bias, sd, method)


def record(state: NightState, hour: int) -> Record:
    """Ours beside the better of the plain methods at an issue hour (-1: before sunset), shape (c,)."""
    h = int(np.clip(hour + 1, 0, HOURS - 1))
    best = state.expert_square[h][:, _PLAIN].min(axis=1)
    return Record(ours=state.square_c2[h], plain=best, count=state.weight[h])


def _decided(state: NightState, issue: _Issue) -> tuple[FloatArray, FloatArray, tuple[str, ...]]:
    """Minimum, spread and method: ours, or the plain method where the record is for it."""
    marks = record(state, issue.hour - 1)
    best = np.argmin(state.expert_square[issue.hour][:, _PLAIN], axis=1) + _PLAIN.start
    plain_c = issue.evening.air_c + issue.drop_c[np.arange(len(best)), best]
    by_plain = marks.plain_decides & ~np.isnan(plain_c)
    spread = np.where(by_plain, np.sqrt(np.maximum(marks.plain, 0.0)), issue.sd_c)
    method = tuple(EXPERTS[b] if p else m for b, p, m in zip(best, by_plain, issue.method, strict=True))
    return np.where(by_plain, plain_c, issue.min_c), spread, method


def _expert_drops(state: NightState, evening: Evening, hour: int, which: int) -> FloatArray:
    """Drop from the present air by each expert, shape (c, experts)."""
    learnt, prior = night_regression.drops_c(state.regression, evening, which)
    air = evening.air_c
    return np.stack(
        [
            learnt,
            prior,
            plain.mean_drop_c(state.plain, hour, air) - air,
            np.minimum(plain.fao_c(state.plain, hour, air) - air, 0.0),
        ],
        axis=1,
    )


def _expected_square(state: NightState, hour: int, noise_c: FloatArray) -> FloatArray:
    """Squared error to expect of each expert: its record, leaning on the prior while that is short."""
    n = state.expert_weight[hour][:, None]
    prior = (noise_c[:, None] * PLAIN_ERROR) ** 2
    return (RECORD_NIGHTS * prior + n * state.expert_square[hour]) / (RECORD_NIGHTS + n)


def _truth(slots: Slots, night: Night, time_s: int) -> FloatArray:
    """Lowest air from the issue to the night's end, shape (c,); NaN where the night does not count.

    It does not count with more than a tenth of it unknown, or if a lid or cover known to us moved
    between the issue and the minimum: no forecast could have known.
    """
    part = slice(max(slots.index_of(time_s) + 1, 0), slots.index_of(night.end_s) + 1)
    low = slots.low[part].astype(np.float64)
    if not len(low):
        return np.full(slots.boxes + 1, np.nan)
    unknown = np.isnan(low)
    lowest = np.fmin.reduce(low, axis=0)
    at = np.argmin(np.where(unknown, np.inf, low), axis=0)
    counts = unknown.mean(axis=0) <= 0.1
    for place in ("lid", "cover"):
        opening = slots.part(place, part.start, part.stop)
        change = np.abs(opening - opening[0])
        moved = np.fmax.accumulate(change, axis=0)[at, np.arange(len(at))] > 0.05
        counts &= ~moved
    return np.where(counts, lowest, np.nan)


def _sheltered(
    state: NightState, slots: Slots, night: Night, issues: list[_Issue], truths: list[FloatArray]
) -> NightState:
    """Learn the lift from the first issue at least two hours after sunset."""
    for issue, truth in zip(issues, truths, strict=True):
        if issue.hour - 1 >= 2 and not np.isnan(truth[-1]):
            window = Window(slots, slots.index_of(night.sunrise_s))
            lid, cover = (window.mean(place, 12)[:-1] for place in ("lid", "cover"))
            learnt = shelter.learn(
                state.shelter, box_min_c=truth[:-1], outside_min_c=float(truth[-1]), lid=lid, cover=cover
            )
            return replace(state, shelter=learnt)
    return state


def _mark(state: NightState, issues: list[_Issue], truths: list[FloatArray]) -> NightState:
    """Set the errors of this night beside the earlier ones."""
    columns = state.weight.shape[1]
    air, lowest = (np.full((HOURS, columns), np.nan) for _ in range(2))
    expert_square, expert_weight = state.expert_square.copy(), state.expert_weight.copy()
    square, bias, weight = state.square_c2.copy(), state.bias_c.copy(), state.weight.copy()
    widen = state.widen.copy()
    for issue, truth in zip(issues, truths, strict=True):
        h = issue.hour
        air[h], lowest[h] = issue.evening.air_c, truth
        forecast = np.fmin(issue.min_c, issue.evening.air_c)
        error = truth - forecast
        known = ~np.isnan(error)
        n = RECORD_FORGETTING * weight[h] + known
        square[h] = _running(square[h], weight[h], error**2, n)
        bias[h] = _running(bias[h], weight[h], issue.min_c - truth, n)
        weight[h] = np.where(known, n, weight[h])
        of_experts = (issue.evening.air_c - truth)[:, None] + issue.drop_c
        # An expert that had nothing to say is marked as the forecast was, neither for it nor against.
        of_experts = np.where(np.isnan(of_experts), error[:, None], of_experts)
        n = RECORD_FORGETTING * expert_weight[h] + known
        expert_square[h] = _running(expert_square[h], expert_weight[h][:, None], of_experts**2, n[:, None])
        expert_weight[h] = np.where(known, n, expert_weight[h])
        missed = _share_missed(issue, truth)
        if not np.isnan(missed):
            widen[h] = np.clip(widen[h] * np.exp(WIDEN_RATE * (missed - 0.1)), 0.5, 2.0)
    return replace(
        state,
        plain=plain.add_night(state.plain, air, lowest),
        expert_square=expert_square,
        expert_weight=expert_weight,
        square_c2=square,
        bias_c=bias,
        weight=weight,
        widen=widen,
        nights=state.nights + 1,
    )


def _running(mean: FloatArray, weight: FloatArray, value: FloatArray, total: FloatArray) -> FloatArray:
    """Mean with one value more; unchanged where the value is NaN."""
    moved = (RECORD_FORGETTING * weight * mean + np.nan_to_num(value)) / np.maximum(total, 1e-9)
    return np.where(np.isnan(value), mean, moved)


def _share_missed(issue: _Issue, truth: FloatArray) -> float:
    half = _Z90 * issue.sd_c
    now = issue.evening.air_c
    low, high = np.fmin(issue.min_c - half, now), np.fmin(issue.min_c + half, now) + 1e-6
    known = ~np.isnan(truth) & ~np.isnan(low)
    if not known.any():
        return float("nan")
    return float(((truth < low) | (truth > high))[known].mean())


def _regress(state: NightState, issues: list[_Issue], truths: list[FloatArray]) -> NightState:
    samples = [
        Sample(issue.bin, issue.evening, truth - issue.evening.air_c, truth - issue.min_c)
        for issue, truth in zip(issues, truths, strict=True)
    ]
    return replace(state, regression=night_regression.add_night(state.regression, samples))


def _weighted_mean(values: FloatArray, weight: FloatArray) -> FloatArray:
    """Mean along the last axis; a NaN must have weight 0; NaN where all have."""
    total = weight.sum(axis=-1)
    weighted = (weight * np.where(weight > 0.0, values, 0.0)).sum(axis=-1)
    return np.where(total > 0.0, weighted / np.where(total > 0.0, total, 1.0), np.nan)
