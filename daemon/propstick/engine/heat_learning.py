"""How the heat formula learns without waiting for the limit to be passed: invented limits.

Every ten minutes of daylight each box is given an invented limit a little above its air, drawn from a
hash of box and time. An hour later its readings tell whether and when that limit was passed. Once a
day the formula is moved towards what it should have said, for all boxes of a site together: they stand
under the same clouds. It forgets slowly towards what it started from.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from zlib import crc32

import numpy as np

from propstick.engine.heat_prior import COEFFICIENTS
from propstick.engine.trace import Trace
from propstick.garden import Box
from propstick.units import BoolArray, FloatArray, IntArray

HORIZONS_MIN = (20, 30, 60)
SAMPLE_EVERY_S = 600
_LEAST_ABOVE_C, _MOST_ABOVE_C = 0.4, 9.0
_HELD_MIN = 5
"""A crossing counts when the air stays above for this long."""
_ANSWERED_S = 60 * (HORIZONS_MIN[-1] + _HELD_MIN)
_KEEP = 0.99
_SAMPLE_INFORMATION = 0.03
"""What an answer counts for against the prior: neighbouring ones share their clouds; tuned."""
_SPREAD_SHARE, _SPREAD_FLOOR = 0.25, 0.25
_RELEVANT_C, _LEAST_WEIGHT = 5.0, 0.1
_NEVER_MIN = 1e6
_RECORD_KEEP = 0.97
_LEAST_ANSWERS = 100.0
"""Of a site: a sunny week of one box. With fewer the record is luck."""


@dataclass(frozen=True)
class Samples:
    """Questions whose answer is not in yet: k of them, oldest first.

    Attributes:
        asked_s: (k,).
        features: (k, b, F).
        plain: What the straight line said, (k, 3, b).
        limit_c: (k, b); NaN where the box was not asked.
        weight: What each answer counts for, (k, b).
        crossed_min, moved_min: Minutes until the limit was passed and until the lid moved, (k, b).
        heard: Rows in which the box's air was read, (k, b).
    """

    asked_s: IntArray
    features: FloatArray
    plain: FloatArray
    limit_c: FloatArray
    weight: FloatArray
    crossed_min: FloatArray
    moved_min: FloatArray
    heard: FloatArray


@dataclass(frozen=True)
class LearningState:
    """The formula of each horizon, and what today says about it.

    Attributes:
        beta: Coefficients, (3, F).
        information: (3, F, F).
        normal, slope: Today's sums, (3, F, F) and (3, F).
        record: Sums of squared errors of the formula and of the straight line, fading, (2, 3).
        answers: Sum of what the answers in `record` count for, (3,).
        samples: Questions that are open.
    """

    beta: FloatArray
    information: FloatArray
    normal: FloatArray
    slope: FloatArray
    record: FloatArray
    answers: FloatArray
    samples: Samples

    @property
    def plain_decides(self) -> BoolArray:
        """Horizons at which the straight line, over enough answers, was as good or better, (3,)."""
        return (self.answers >= _LEAST_ANSWERS) & (self.record[0] >= self.record[1])


def start_learning(boxes: int) -> LearningState:
    """What invented weather taught."""
    beta = np.array(COEFFICIENTS)
    f = beta.shape[1]
    none = np.empty((0, boxes))
    return LearningState(
        beta=beta,
        information=_prior_information(),
        normal=np.zeros((3, f, f)),
        slope=np.zeros((3, f)),
        record=np.zeros((2, 3)),
        answers=np.zeros(3),
        samples=Samples(
            np.empty(0, dtype=np.int64),
            np.empty((0, boxes, f)),
            np.empty((0, 3, boxes)),
            none,
            none,
            none,
            none,
            none,
        ),
    )


def invented_limits(boxes: tuple[Box, ...], time_s: IntArray) -> FloatArray:
    """How far above its air each box's invented limit lies [°C], (m, b): log-uniform, from a hash.

    A hash and not a generator: the same box at the same time is always asked the same.
    """
    names = np.array([crc32(box.name.encode()) for box in boxes], dtype=np.uint64)
    mixed = (time_s.astype(np.uint64)[:, None] // np.uint64(60)) * np.uint64(0x9E3779B97F4A7C15) ^ names
    for shift, factor in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB)):
        mixed = (mixed ^ (mixed >> np.uint64(shift))) * np.uint64(factor)
    share = (mixed >> np.uint64(11)).astype(float) / 2.0**53
    return _LEAST_ABOVE_C * np.exp(share * np.log(_MOST_ABOVE_C / _LEAST_ABOVE_C))


def ask(
    state: LearningState, asked_s: IntArray, *, features: FloatArray, plain: FloatArray, limit_c: FloatArray,
    true_limit_c: FloatArray,
) -> LearningState:  # fmt: skip
    """Put new questions behind the open ones.

    Args:
        plain: Chances by the straight line, (k, 3, b).
        limit_c, true_limit_c: The invented limits and the person's, (k, b): the nearer they are, the
            more the answer counts.
    """
    apart = (limit_c - true_limit_c) / _RELEVANT_C
    weight = _LEAST_WEIGHT + (1.0 - _LEAST_WEIGHT) * np.nan_to_num(np.exp(-apart * apart))
    old, shape = state.samples, limit_c.shape
    return replace(
        state,
        samples=Samples(
            asked_s=np.concatenate([old.asked_s, asked_s]),
            features=np.concatenate([old.features, features]),
            plain=np.concatenate([old.plain, plain]),
            limit_c=np.concatenate([old.limit_c, limit_c]),
            weight=np.concatenate([old.weight, weight]),
            crossed_min=np.concatenate([old.crossed_min, np.full(shape, _NEVER_MIN)]),
            moved_min=np.concatenate([old.moved_min, np.full(shape, _NEVER_MIN)]),
            heard=np.concatenate([old.heard, np.zeros(shape)]),
        ),
    )


def listen(state: LearningState, trace: Trace, *, step_s: int) -> LearningState:
    """Let the rows of a trace answer, and take in the questions whose hour is over."""
    samples = state.samples
    if not len(samples.asked_s) or not len(trace):
        return state
    crossed, moved, heard = samples.crossed_min.copy(), samples.moved_min.copy(), samples.heard.copy()
    shifts = trace.moved_min < step_s / 60.0
    any_shift = bool(shifts.any())
    heard_rows = ~np.isnan(trace.measured_c)
    for k, asked in enumerate(samples.asked_s.tolist()):
        first, stop = np.searchsorted(trace.time_s, (asked + 1, asked + _ANSWERED_S + 1))
        if first == stop:
            continue
        minutes = (trace.time_s[first:stop] - asked) / 60.0
        if any_shift:
            earliest = np.where(shifts[first:stop], minutes[:, None], _NEVER_MIN).min(axis=0)
            moved[k] = np.minimum(moved[k], earliest)
        heard[k] += heard_rows[first:stop].sum(axis=0)
        held_from = int(np.searchsorted(minutes, _HELD_MIN))
        above = trace.held5_c[first:stop][held_from:] > samples.limit_c[k]
        if above.any():
            begun = minutes[held_from:, None] - (_HELD_MIN - 1.0)
            crossed[k] = np.minimum(crossed[k], np.where(above, begun, _NEVER_MIN).min(axis=0))
    state = replace(state, samples=replace(samples, crossed_min=crossed, moved_min=moved, heard=heard))
    done = int(np.searchsorted(samples.asked_s, trace.time_s[-1] - _ANSWERED_S, side="right"))
    return _answered(state, done, step_s) if done else state


def _answered(state: LearningState, count: int, step_s: int) -> LearningState:
    samples = state.samples
    done = Samples(*(getattr(samples, name)[:count] for name in Samples.__dataclass_fields__))
    left = Samples(*(getattr(samples, name)[count:].copy() for name in Samples.__dataclass_fields__))
    spoke = done.heard * step_s >= 0.8 * _ANSWERED_S
    valid = spoke & ~np.isnan(done.limit_c)
    features = np.where(valid[..., None], done.features, 0.0)
    normal, slope = state.normal, state.slope
    horizons = np.array(HORIZONS_MIN)[:, None]
    chance = 1.0 / (1.0 + np.exp(-np.clip(_weighed(features, state.beta), -30.0, 30.0)))  # (k, 3, b)
    came = done.crossed_min[:, None] <= horizons
    # A lid that moved afterwards does not undo a crossing that came before.
    undisturbed = np.minimum(horizons + _HELD_MIN, done.crossed_min[:, None] + _HELD_MIN)
    counts = valid[:, None] & (done.moved_min[:, None] > undisturbed)
    counted = done.weight[:, None] * counts
    weight = counted * chance * (1.0 - chance)
    missed = counted * (came - chance)
    squares = np.stack([counted * (chance - came) ** 2, counted * (np.nan_to_num(done.plain) - came) ** 2])
    record, answers = state.record, state.answers
    for k in range(count):
        # One question after the other, so that no cut between two calls changes the rounding.
        x = features[k]
        normal = normal + np.matmul((weight[k][:, :, None] * x).transpose(0, 2, 1), x)
        slope = slope + np.matmul(missed[k], x)
        record = record + squares[:, k].sum(axis=-1)
        answers = answers + counted[k].sum(axis=-1)
    return replace(state, normal=normal, slope=slope, record=record, answers=answers, samples=left)


def learn_formula(state: LearningState) -> LearningState:
    """Once a day: move the coefficients by what the day's answers say, and begin a new day."""
    prior = _prior_information()
    information = _KEEP * state.information + (1.0 - _KEEP) * prior + _SAMPLE_INFORMATION * state.normal
    pull = (1.0 - _KEEP) * np.einsum("hff,hf->hf", prior, state.beta - np.array(COEFFICIENTS))
    move = np.linalg.solve(information, (_SAMPLE_INFORMATION * state.slope - pull)[..., None])[..., 0]
    return replace(
        state,
        beta=state.beta + move,
        information=information,
        normal=np.zeros_like(state.normal),
        slope=np.zeros_like(state.slope),
        record=_RECORD_KEEP * state.record,
        answers=_RECORD_KEEP * state.answers,
    )


def chances(state: LearningState, features: FloatArray) -> FloatArray:
    """Probability of each horizon, (m, 3, b), never falling from one horizon to the next."""
    chance = 1.0 / (1.0 + np.exp(-np.clip(_weighed(features, state.beta), -30.0, 30.0)))
    return np.maximum.accumulate(chance, axis=1)


def _weighed(features: FloatArray, beta: FloatArray) -> FloatArray:
    """Sum of coefficient × feature, spelt out: a matrix product rounds by the shape of the block."""
    total = np.zeros((features.shape[0], beta.shape[0], features.shape[1]))
    for f in range(beta.shape[1]):
        total += beta[:, f][:, None] * features[:, None, :, f]
    return total


def _prior_information() -> FloatArray:
    sd = _SPREAD_SHARE * np.abs(np.array(COEFFICIENTS)) + _SPREAD_FLOOR
    return np.stack([np.diag(1.0 / (row * row)) for row in sd])


def asked_boxes(trace: Trace, rows: IntArray, limit_c: FloatArray) -> BoolArray:
    """Which boxes can be asked at these rows: heard, and with air below the limit, (m, b)."""
    measured = trace.measured_c[rows]
    with np.errstate(invalid="ignore"):
        return trace.known[rows] & (measured < limit_c)
