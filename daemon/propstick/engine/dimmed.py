"""Does something keep the sun off a box? By afternoon the outside has warmed well, and the box has hardly.

A shut box swings further from night to day than the outside, an open one as far: on invented boxes never less
than 0.6 of it on a day that tells. Under a mat, or much snow, it was 0.3 to 0.6. Snow that keeps off the
light alone leaves 0.5 to 1, where the box swings by 1.4 to 3 otherwise: told by the boxes beside it, which
get their sun on such a day.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine.schedule import Day
from propstick.engine.telling_days import held, is_met, no_days, put, usual
from propstick.units import BoolArray, FloatArray

# Set on invented boxes; `tests.bench.upsets` measures them on others.
SWING_C = 4.0
"""A day on which the outside swings less tells nothing of the sun in a box."""
DIM_SHARE, BRIGHT_SHARE = 0.56, 0.68
"""The box's swing over the outside's below which it is dimmed, and above which it is not."""
DIM_OF_USUAL = 0.6
"""And below so much of what is usual of it: an outside probe in the sun swings far, day by day."""
DIM_BESIDE, SUNNY_BESIDE, SUNNIER_BESIDE = 0.5, 0.95, 1.8
"""Or below so much of what is usual of it, while another box swings by so much of its own usual, and by so
many times this one's share of it. An untold lid that is up does as little, but not below the outside."""
LIT_SHARE = 0.65
"""Share of its usual from which such a box has its sun again."""
_UP = 0.05
JUDGED_AFTER_NOON_S = 9000
_HEARD_SHARE = 0.9


@dataclass(frozen=True)
class DimWatch:
    """What is remembered from row to row; b boxes.

    Attributes:
        low_c, high_c: Air of the day so far, boxes then outside, (b + 1,).
        heard: Rows of it with air, likewise; `rows` counts them all.
        covered, aired: Whether a cover, or an open lid, was told of on that day, (b,).
        swings: The box's swing over the outside's on past telling days, (7, b).
        dimmed: Whether the box gets no sun, as last judged, (b,).
    """

    low_c: FloatArray
    high_c: FloatArray
    heard: FloatArray
    rows: float
    covered: BoolArray
    aired: BoolArray
    swings: FloatArray
    dimmed: BoolArray


def start_dim(boxes: int) -> DimWatch:
    """Nothing seen yet."""
    blank, no_box = np.full(boxes + 1, np.nan), np.zeros(boxes, dtype=np.bool_)
    return DimWatch(
        blank, blank.copy(), np.zeros(boxes + 1), 0.0, no_box, no_box.copy(), no_days(boxes), no_box.copy()
    )


def look_for_dimming(watch: DimWatch, rows: PlaceRows, *, day: Day) -> tuple[DimWatch, BoolArray]:
    """The watch after rows of one local date, and which boxes get no sun, (n, b)."""
    if not len(rows):
        return watch, np.empty(rows.air_c.shape, dtype=np.bool_)
    air = np.concatenate([rows.air_c, rows.outside_air_c[:, None]], axis=1)
    low = np.fmin.accumulate(np.concatenate([watch.low_c[None], air]), axis=0)[1:]
    high = np.fmax.accumulate(np.concatenate([watch.high_c[None], air]), axis=0)[1:]
    heard = np.add.accumulate(np.concatenate([watch.heard[None], ~np.isnan(air)]), axis=0)[1:]
    count = watch.rows + np.arange(1.0, len(rows) + 1.0)
    covered = np.logical_or.accumulate(np.concatenate([watch.covered[None], rows.cover > 0.5]), axis=0)[1:]
    aired = np.logical_or.accumulate(np.concatenate([watch.aired[None], rows.lid > _UP]), axis=0)[1:]
    noon_s = (day.sun.rise_s + day.sun.set_s) // 2
    is_late = (rows.time_s >= noon_s + JUDGED_AFTER_NOON_S) & (day.sun.known and day.sun.sets)
    dimmed = np.broadcast_to(watch.dimmed, rows.air_c.shape)
    if is_late.any() or covered.any():
        is_heard = heard >= _HEARD_SHARE * count[:, None]
        tells = is_late[:, None] & is_heard[:, :-1] & is_heard[:, -1:] & ~covered
        dimmed = _judged(watch, low, high, tells=tells, covered=covered, aired=aired)
    watch = replace(
        watch, low_c=low[-1].copy(), high_c=high[-1].copy(), heard=heard[-1].copy(), rows=float(count[-1]),
        covered=covered[-1].copy(), aired=aired[-1].copy(), dimmed=dimmed[-1].copy(),
    )  # fmt: skip
    return watch, dimmed


def _judged(
    watch: DimWatch,
    low: FloatArray,
    high: FloatArray,
    *,
    tells: BoolArray,
    covered: BoolArray,
    aired: BoolArray,
) -> BoolArray:
    swing = high - low
    outside = swing[:, -1:]
    share = swing[:, :-1] / np.where(outside >= SWING_C, outside, np.nan)
    of_usual = share / usual(watch.swings)
    is_cooler = high[:, :-1] < high[:, -1:]
    least = np.minimum(DIM_SHARE, DIM_OF_USUAL * usual(watch.swings))
    beside = _most_of_others(np.where(tells & is_met(watch.swings), of_usual, np.nan))
    is_sunny = (beside >= SUNNY_BESIDE) & (beside >= SUNNIER_BESIDE * of_usual)
    dim = (share < least) | ((of_usual < DIM_BESIDE) & is_sunny & ~aired)
    dim &= is_met(watch.swings) & is_cooler
    bright = (share > BRIGHT_SHARE) & ((of_usual > LIT_SHARE) | ~is_cooler)
    decided = (tells & (dim | bright)) | covered
    return held(decided, dim & ~covered, watch.dimmed)


def _most_of_others(values: FloatArray) -> FloatArray:
    """For each box the most of the others that are known, (n, b); NaN where none is."""
    known = np.where(np.isnan(values), -np.inf, values)
    first = known.max(axis=1, keepdims=True, initial=-np.inf)
    is_first = (known == first) & (np.cumsum(known == first, axis=1) == 1)
    second = np.where(is_first, -np.inf, known).max(axis=1, keepdims=True, initial=-np.inf)
    most = np.where(is_first, second, first)
    return np.where(np.isfinite(most), most, np.nan)


def next_day(watch: DimWatch) -> DimWatch:
    """What the day that ended says of the box goes on record, and a new day begins."""
    swing = watch.high_c - watch.low_c
    is_heard = watch.heard >= _HEARD_SHARE * max(watch.rows, 1.0)
    tells = (swing[-1] >= SWING_C) & is_heard[:-1] & is_heard[-1] & ~watch.covered & ~watch.dimmed
    share = np.where(tells, swing[:-1] / np.fmax(swing[-1], SWING_C), np.nan)
    fresh = start_dim(len(share))
    return replace(fresh, swings=put(watch.swings, share), dimmed=watch.dimmed)
