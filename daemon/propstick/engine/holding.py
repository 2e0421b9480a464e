"""Has a box stopped holding heat? Evidence against a shut lid, added up through the dark hours.

A sky that clouds over or a wind that rises surprises a shut box as an open lid would, and all boxes of a
garden in the same minutes. So a box must be surprised beyond the boxes beside it. Where there are none, or
a gale has lifted every lid, it must have lost much of its height above the outside, and its evidence must
lie far beyond that of its usual nights.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from propstick.engine.telling_days import known_quantile, no_days, put
from propstick.engine.trace import LID_BANK, Trace
from propstick.units import BoolArray, FloatArray, IntArray

NIGHT_SD_RANGE_C = (0.04, 0.3)
LOOSE_AT, OWN_LEAST = 7.0, 3.0
"""Evidence of the night, as a logarithm of odds, from which a box no longer holds heat: beyond the boxes
beside it, where its own says so too. (A neighbour that somebody shuts makes the others look open.)"""
BEYOND_USUAL, USUAL_QUANTILE = 2.0, 0.9
"""By itself: also so many times the evidence that nine nights in ten stay below."""
LIFT_LEFT, LEAST_LIFT_C = 0.6, 0.3
"""Share of its height above the outside that a lifted lid leaves at most; less height tells nothing."""
LEFT_BESIDE = 0.95
"""And the most it leaves of the share that the boxes beside it kept in the same hours: where a model is off
a box that cools as they do looks loose."""
_CREDIT_PER_MIN = 0.1
_MOST_OF_A_MINUTE = 8.0
_OTHERS = len(LID_BANK) - 1
# All set on invented boxes.


@dataclass(frozen=True)
class HoldWatch:
    """What is carried from row to row; b boxes.

    Attributes:
        total, least: Sum of the night's evidence and the least that sum has been, for each opening but the
            shut one: by the box alone, and beyond the boxes beside it, (2, 3, b).
        lift_c: Height above the outside when the box's own sum was least, (3, b).
        beside_c: The mean height of the boxes beside it at that row, (3, b); NaN without any.
        peak: The most evidence of this night, by the box alone, (b,).
        peaks: The same of past nights, (7, b).
    """

    total: FloatArray
    least: FloatArray
    lift_c: FloatArray
    beside_c: FloatArray
    peak: FloatArray
    peaks: FloatArray


def start_holding(boxes: int) -> HoldWatch:
    """Nothing seen yet."""
    none = np.zeros((2, _OTHERS, boxes))
    unknown = np.full((_OTHERS, boxes), np.nan)
    return HoldWatch(none, none, unknown, unknown.copy(), np.zeros(boxes), no_days(boxes))


def watch_holding(
    watch: HoldWatch, trace: Trace, *, is_dark: BoolArray, minutes: float
) -> tuple[HoldWatch, BoolArray]:
    """The watch after a trace, and where the night's evidence says that a box holds heat no more, (n, b).

    A cumulative sum test: the sum since its own least. It begins anew each night, and a little is taken
    off each minute, so that what a shut box does in its worst hour does not add up.

    Source: Page (1954), Biometrika 41:100-115 (from memory), with log-likelihood ratios.
    """  # fmt: skip
    n, b = trace.air_c.shape
    stopped = np.zeros((n, b), dtype=np.bool_)
    edges = [0, *(np.flatnonzero(np.diff(is_dark)) + 1).tolist(), n]
    for first, stop in pairwise(edges):
        if first == stop:
            continue
        if not is_dark[first]:
            watch = _over(watch)
            continue
        here = slice(first, stop)
        gain, has_others = _gain(trace, here, minutes)
        # Added up in order from what was carried, so that a cut anywhere gives the same sums.
        sums = np.add.accumulate(np.concatenate([watch.total[None], gain]), axis=0)[1:]
        lows = np.minimum.accumulate(np.concatenate([watch.least[None], sums]), axis=0)[1:]
        lift = trace.air_c[here] - trace.outside_c[here, None]
        beside, _ = _mean_of_others(lift, trace, here)
        latest = _last_row_of(sums[:, 0] <= lows[:, 0])
        began = _as_of(latest, watch.lift_c, lift)
        beside_began = _as_of(latest, watch.beside_c, beside)
        alone, beyond = (sums - lows).transpose(1, 0, 2, 3)
        usual = known_quantile(watch.peaks, USUAL_QUANTILE)
        fallen = (began >= LEAST_LIFT_C) & (lift[:, None] <= LIFT_LEFT * began)
        by_itself = (alone >= np.fmax(LOOSE_AT, BEYOND_USUAL * usual)) & fallen
        as_they = _kept_as_they(lift[:, None], began, beside[:, None], beside_began)
        as_no_other = (beyond >= LOOSE_AT) & (alone >= OWN_LEAST) & has_others[:, None] & ~as_they
        stopped[here] = (by_itself | as_no_other).any(axis=1)
        watch = replace(
            watch,
            total=sums[-1].copy(),
            least=lows[-1].copy(),
            lift_c=began[-1].copy(),
            beside_c=beside_began[-1].copy(),
            peak=np.maximum(watch.peak, alone.max(axis=(0, 1))),
        )
    return watch, stopped


def _gain(trace: Trace, here: slice, minutes: float) -> tuple[FloatArray, BoolArray]:
    """How much better each other opening foretold each minute than a shut lid, (n, 2, 3, b); and whether
    another box was there to compare with, (n, b)."""
    untold = ~trace.lid_told[here] & trace.known[here] & trace.outside_known[here, None]
    weather, has_others = _mean_of_others(trace.bank_error_c[here, 0], trace, here)
    weather = np.where(has_others, weather, 0.0)
    both = np.stack([trace.bank_error_c[here], trace.bank_error_c[here] - weather[:, None]], axis=1)
    rounding = trace.rounding_sd_c[here]
    own_sd = minute_sd_c(trace.night_sd_c[here], rounding)
    # A box beside it that reads in coarse steps makes the comparison as coarse.
    sd = np.stack([own_sd, np.maximum(own_sd, rounding.max(axis=1, keepdims=True))], axis=1)
    surprise = both / sd[:, :, None]
    cost = np.minimum(0.5 * surprise * surprise, _MOST_OF_A_MINUTE)
    gain = minutes * (cost[:, :, :1] - cost[:, :, 1:] - _CREDIT_PER_MIN)
    return np.where(untold[:, None, None], gain, 0.0), has_others


def _mean_of_others(values: FloatArray, trace: Trace, here: slice) -> tuple[FloatArray, BoolArray]:
    """For each box the mean over the others that can be compared with it, (n, b), NaN where none can; and
    where one can.

    Their air is known and their lid not told to be open; and they are covered as it is, for a box that is
    given a mat warms, and those that are not would look open beside it.
    """
    still = trace.known[here] & ~(trace.lid_told[here] & (trace.lid[here] > 0.0)) & ~np.isnan(values)
    covered = trace.cover[here] > 0.5
    total, count = np.zeros(values.shape), np.zeros(values.shape)
    for alike in (~covered, covered):
        if alike.any():
            witness = still & alike
            filled = np.where(witness, values, 0.0)
            total = np.where(alike, filled.sum(axis=1, keepdims=True) - filled, total)
            count = np.where(alike, witness.sum(axis=1, keepdims=True) - witness, count)
    return np.where(count > 0, total, np.nan) / np.maximum(count, 1), count > 0


def _kept_as_they(
    lift_c: FloatArray, began_c: FloatArray, beside_c: FloatArray, beside_began_c: FloatArray
) -> BoolArray:
    """Whether a box kept about as much of its height above the outside as the boxes beside it, (n, 3, b).

    False where either stood too low to tell.
    """
    tells = (began_c >= LEAST_LIFT_C) & (beside_began_c >= LEAST_LIFT_C)
    return tells & (lift_c * beside_began_c > LEFT_BESIDE * beside_c * began_c)


def minute_sd_c(night_sd_c: FloatArray, rounding_sd_c: FloatArray) -> FloatArray:
    """How far a minute may be off by night without surprise, (n, b)."""
    return np.maximum(np.clip(night_sd_c, *NIGHT_SD_RANGE_C), rounding_sd_c)


def _last_row_of(holds: BoolArray) -> IntArray:
    """The last row, counted from 1, on which something held; 0 before the first."""
    return np.maximum.accumulate(np.where(holds, np.arange(1, len(holds) + 1)[:, None, None], 0), axis=0)


def _as_of(row: IntArray, before_c: FloatArray, lift_c: FloatArray) -> FloatArray:
    """The lift at those rows, (n, 3, b); 0 is the row before the first."""
    lifts = np.concatenate([before_c[None], np.broadcast_to(lift_c[:, None], row.shape)])
    return np.take_along_axis(lifts, row, axis=0)


def _over(watch: HoldWatch) -> HoldWatch:
    """The night is over: its evidence goes on record."""
    if not watch.total.any():
        return watch
    peak = np.where(watch.peak > 0.0, watch.peak, np.nan)
    return replace(start_holding(len(peak)), peaks=put(watch.peaks, peak))
