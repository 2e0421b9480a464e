"""What past days taught of each box's maximum, and what was forecast today.

A box is known by how far it rises over the model, by its best recent lifts, and by what part of a clear
day's rise comes on an ordinary one. `day_learning.py` settles all of it when the sun has set.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.engine import rise as outside_rise
from propstick.engine.rise import CLASSES, RiseState
from propstick.engine.telling_days import known_quantile
from propstick.units import BoolArray, FloatArray, IntArray

LIDS = ("closed", "propped", "open", "as-is")
OPENINGS = (0.0, 0.1, 1.0)
LIFT_DAYS = 10

# Tuned on invented boxes, no other authority.
SHUT_RECORD_C2 = 9.0
AS_IS_RECORD_C2 = 36.0
SHARPNESS = 1.5
GAIN_PRIOR = np.array([0.72, 1.0])
"""The first crack of a lid vents more than its share; how much differs most between boxes."""
STEADY_SHARE = 0.8
"""How far the model's rise of today is drawn to its own mean: what is learnt in a dull week sways it by a
tenth, and what a shut box does sways less."""
SHUT_QUANTILE = 0.9
"""A day passes for clear with a cloud or two: what a clear sky does is near the upper end of those."""
MODEL_DAYS = 3.0
"""Clear shut days that the model's own mean counts for."""
GAIN_WITHIN = (0.4, 1.8)
FIRST_DAY_GAIN = 1.25
"""Until the first day has ended the model runs on rates nobody has learnt. Between a light box, of which
they ask too much by a tenth, and a heavy one, of which they ask a third too little."""
GAIN_DAYS = 16
SHARE_PRIOR = np.array([0.50, 0.40])
SHARE_SPREAD = np.array([0.15, 0.25])


@dataclass(frozen=True)
class DayState:
    """Carried from day to day; k issue classes, b boxes, lids in the order of LIDS.

    Attributes:
        rise: What is known of the outside's rise.
        lift_c: (box maximum - outside maximum) of past days with a shut lid, newest last, (10, b).
        max_before_c, lift_before_c, lid_before: Yesterday's maximum, its height above the outside's, and the
            opening it came with, (b,).
        lift_clear: Whether the sun shone when that maximum came, (10, b).
        shut_square_c2, shut_weight: Running mean squared error of the model and of the best lift on clear
            days with a shut lid [°C²], and their number, (2, b) and (b,).
        shut_levels: How far each box rose above the outside on clear days with a shut lid, as the logarithm
            of that over what a usual box does (`usual_box.usual_rise_c`), newest last, (16, b).
        gain, gain_weight: How much more than the model says the box rises above the outside propped and
            open, on clear days it was held so, and how many of those are remembered, (2, b).
        ratios: What each of those days showed, newest last, (16, 2, b).
        level, level_weight: What the model foresaw of late for a shut lid, as such a logarithm, a mean; and
            how many days are in it, (k, b).
        issued_level: That logarithm at each of today's issues, (k, b).
        issued_c, issued_sd_c: Today's forecasts, NaN = none yet, shape (k, lids, b).
        issued_s: When each was issued, 0 = not yet, shape (k,).
        issued_ground_c: Outside air (or box air without it) at each of today's issues, (k, b).
        issued_top_c: Outside maximum reckoned with at each of today's issues, shape (k,).
        issued_clear_c: Maximum under a clear sky with the lid as it stood, (k, b).
        issued_shut_c: The model and the best lift for a shut lid, (k, 2, b).
        issued_model_c: What the bare model said, NaN where it did not run, (k, 3, b).
        issued_share: Share of a clear sun at each issue, (k, b).
        issued_as_is_c: The share of a clear day and the best lift, for the lid as it stood, (k, 2, b).
        as_is_square_c2, as_is_weight: Running mean squared error of these two, (k, 2, b), and days, (k, b).
        square_c2, weight: Running mean squared error on days that tell, and their number, (k, lids, b).
        widen: Factor on the interval, (k, lids).
        share_precision, share_vector: What part of a clear day's rise comes, on what part of the sun
            shines at the issue: information form, (k, b, 2, 2) and (k, b, 2).
    """

    rise: RiseState
    lift_c: FloatArray
    max_before_c: FloatArray
    lift_before_c: FloatArray
    lid_before: FloatArray
    lift_clear: BoolArray
    shut_square_c2: FloatArray
    shut_weight: FloatArray
    shut_levels: FloatArray
    gain: FloatArray
    gain_weight: FloatArray
    ratios: FloatArray
    level: FloatArray
    level_weight: FloatArray
    issued_level: FloatArray
    issued_c: FloatArray
    issued_sd_c: FloatArray
    issued_s: IntArray
    issued_ground_c: FloatArray
    issued_top_c: FloatArray
    issued_clear_c: FloatArray
    issued_shut_c: FloatArray
    issued_model_c: FloatArray
    issued_share: FloatArray
    issued_as_is_c: FloatArray
    as_is_square_c2: FloatArray
    as_is_weight: FloatArray
    square_c2: FloatArray
    weight: FloatArray
    widen: FloatArray
    share_precision: FloatArray
    share_vector: FloatArray


def no_days(boxes: int) -> DayState:
    """Before the first day."""
    precision = np.broadcast_to(np.diag(1.0 / SHARE_SPREAD**2), (CLASSES, boxes, 2, 2)).copy()
    return DayState(
        rise=outside_rise.no_days(),
        lift_c=np.full((LIFT_DAYS, boxes), np.nan),
        max_before_c=np.full(boxes, np.nan),
        lift_before_c=np.full(boxes, np.nan),
        lid_before=np.zeros(boxes),
        lift_clear=np.zeros((LIFT_DAYS, boxes), dtype=bool),
        shut_square_c2=np.full((2, boxes), SHUT_RECORD_C2),
        shut_weight=np.zeros(boxes),
        shut_levels=np.full((GAIN_DAYS, boxes), np.nan),
        gain=np.repeat(GAIN_PRIOR[:, None], boxes, axis=1),
        gain_weight=np.zeros((len(GAIN_PRIOR), boxes)),
        ratios=np.full((GAIN_DAYS, len(GAIN_PRIOR), boxes), np.nan),
        level=np.zeros((CLASSES, boxes)),
        level_weight=np.zeros((CLASSES, boxes)),
        **_nothing_issued(boxes),
        as_is_square_c2=np.full((CLASSES, 2, boxes), AS_IS_RECORD_C2),
        as_is_weight=np.zeros((CLASSES, boxes)),
        square_c2=np.zeros((CLASSES, len(LIDS), boxes)),
        weight=np.zeros((CLASSES, len(LIDS), boxes)),
        widen=np.ones((CLASSES, len(LIDS))),
        share_precision=precision,
        share_vector=np.broadcast_to(SHARE_PRIOR / SHARE_SPREAD**2, (CLASSES, boxes, 2)).copy(),
    )


def remembered(state: DayState, k: int, **issued: FloatArray | np.int64) -> DayState:
    """The state with today's issue of class `k` noted until sunset marks it."""
    notes = {}
    for name, row in issued.items():
        values = getattr(state, name).copy()
        values[k] = row
        notes[name] = values
    return replace(state, **notes)


def cleared(state: DayState) -> DayState:
    """The state with today's issues forgotten."""
    return replace(state, **_nothing_issued(state.gain.shape[1]))


def _nothing_issued(boxes: int) -> dict[str, FloatArray | IntArray]:
    none = np.full((CLASSES, len(LIDS), boxes), np.nan)
    return {
        "issued_c": none,
        "issued_sd_c": none,
        "issued_s": np.zeros(CLASSES, dtype=np.int64),
        "issued_ground_c": none[:, 0],
        "issued_top_c": np.full(CLASSES, np.nan),
        "issued_clear_c": none[:, 0],
        "issued_shut_c": none[:, :2],
        "issued_model_c": none[:, :3],
        "issued_level": none[:, 0],
        "issued_share": none[:, 0],
        "issued_as_is_c": none[:, :2],
    }


def shut_gain(state: DayState, k: int, level: FloatArray) -> FloatArray:
    """Factor on the model's rise of a shut box: what its clear days showed, beside the model's own mean.

    A box that is aired every day shows no clear shut one: then the model has to do.

    Args:
        level: What the model says now, as the logarithm of its rise over that of a usual box, (b,).
    """  # fmt: skip
    weight = state.level_weight[k]
    mean = level + STEADY_SHARE * weight / (weight + 1.0) * (state.level[k] - level)
    days = (~np.isnan(state.shut_levels)).sum(axis=0)
    seen = np.nan_to_num(known_quantile(state.shut_levels, SHUT_QUANTILE))
    foreseen = (days * seen + MODEL_DAYS * mean) / (days + MODEL_DAYS)
    return np.clip(np.exp(foreseen - level), *GAIN_WITHIN)


def gain_at(state: DayState, lids: FloatArray, *, shut: FloatArray) -> FloatArray:
    """The gain of each box at each opening: straight between those learnt, shape of `lids`.

    Args:
        shut: The gain with a shut lid (`shut_gain`), (b,).
    """  # fmt: skip
    between = np.clip(lids / OPENINGS[1], 0.0, 1.0)
    beyond = np.clip((lids - OPENINGS[1]) / (OPENINGS[2] - OPENINGS[1]), 0.0, 1.0)
    # A box that was never held so on a clear day takes after the others here.
    known = state.gain_weight
    site = ((known * state.gain).sum(axis=1) + GAIN_PRIOR) / (known.sum(axis=1) + 1.0)
    propped, wide = (known * state.gain + site[:, None]) / (known + 1.0)
    gain = shut + between * (propped - shut) + beyond * (wide - propped)
    return FIRST_DAY_GAIN * gain if days_seen(state) == 0.0 else gain


def days_seen(state: DayState) -> float:
    """How many days with outside air have been learnt from; old ones count for less."""
    return float(state.rise.weight.max())


def plain_share(state: DayState, plain_closed_c: FloatArray) -> FloatArray:
    """Weight of the best lift beside the model, by their records.

    The best lift of ten dull days, or of days with the lid up, says nothing of a clear shut one.
    """
    weight = state.shut_square_c2**-SHARPNESS
    share = weight[1] / weight.sum(axis=0)
    return np.where(np.isnan(plain_closed_c) | ~state.lift_clear.any(axis=0), 0.0, share)


def share_that_comes(state: DayState, k: int, sun_share: FloatArray) -> FloatArray:
    """What part of the rise to a clear day's maximum to expect, shape (b,)."""
    coefficient = np.linalg.solve(state.share_precision[k], state.share_vector[k][..., None])[..., 0]
    return coefficient[:, 0] + coefficient[:, 1] * sun_share
