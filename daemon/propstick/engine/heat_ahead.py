"""Will the air of a box pass its limit within 20, 30, 60 minutes, how surely, and when.

The observer's model is run an hour ahead under three skies: as the last hour was, as it is now, and as
bright as it lately got. What these paths, the plain trends and the sun's height say is weighed by a
logistic formula per horizon, which starts from invented weather (`heat_prior.py`) and then learns from
the site's own days (`heat_learning.py`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.engine.heat_features import SUN_PAST_MIN, Outlook, features_of, outlook_at
from propstick.engine.heat_learning import (
    SAMPLE_EVERY_S,
    LearningState,
    ask,
    asked_boxes,
    chances,
    invented_limits,
    learn_formula,
    listen,
    start_learning,
)
from propstick.engine.heat_plain import line_chances
from propstick.engine.observer import DAY_S, learns_at_s
from propstick.engine.trace import Trace, kept_rows
from propstick.garden import Box, Site
from propstick.units import FloatArray, IntArray

ISSUE_EVERY_S = 300
NEAR_LIMIT_C = 12.0
"""Farther below its limit no box gets there within the hour."""
RAISE_AT = 0.31
"""P(30 min) from which a warning goes out: about one false warning a box and week on invented boxes."""
_SUN_LEAST_DEG = 3.0
_SAMPLE_SUN_DEG = 8.0
_PAST_EVERY_MIN = 3
_ETA_LEAST_CHANCE = 0.05


@dataclass(frozen=True)
class HeatState:
    """What is carried: the last row, the sun index of the last hour and a half (k, b), the formula."""

    time_s: int | None
    sun_tail: FloatArray
    learning: LearningState


@dataclass(frozen=True)
class HeatAhead:
    """Forecasts at m moments for b boxes; NaN where there is none to make.

    Attributes:
        row: Which row of the trace each moment is, (m,).
        time_s: (m,).
        limit_c: (m, b).
        p20, p30, p60: Probability that a run of five minutes above the limit begins within so many
            minutes, (m, b). NaN for a silent box, 0 more than 12 °C below its limit; not for one that is
            above it now.
        eta_s, eta_low_s, eta_high_s: When, if within the hour, with a 90 % interval; NaN where that is
            not to be expected, (m, b).
    """

    row: IntArray
    time_s: IntArray
    limit_c: FloatArray
    p20: FloatArray
    p30: FloatArray
    p60: FloatArray
    eta_s: FloatArray
    eta_low_s: FloatArray
    eta_high_s: FloatArray


def start_heat(boxes: int, step_s: int = 60) -> HeatState:
    """Nothing seen."""
    rows = max(2, SUN_PAST_MIN * 60 // step_s)
    return HeatState(time_s=None, sun_tail=np.full((rows, boxes), np.nan), learning=start_learning(boxes))


def look_ahead(
    state: HeatState, trace: Trace, *, limit_c: FloatArray, boxes: tuple[Box, ...], site: Site, step_s: int
) -> tuple[HeatState, HeatAhead]:
    """Forecast every five minutes of daylight, and learn from what became of earlier forecasts.

    Args:
        limit_c: Heat setpoint of each box, (b,), or at each row, (n, b).
        step_s: The observer's step (`ObserverState.step_s`).
    """
    limits = np.broadcast_to(np.asarray(limit_c, dtype=float), trace.sun.shape)
    offset = learns_at_s(site)
    days = (trace.time_s - offset) // DAY_S
    parts = []
    for day in np.unique(days):
        if state.time_s is not None and (state.time_s - offset) // DAY_S != day:
            state = replace(state, learning=learn_formula(state.learning))
        here = np.flatnonzero(days == day)
        state, part = _look(state, trace, here, limits, boxes, site, step_s)
        parts.append(part)
    if not parts:
        return state, nothing_ahead(trace.sun.shape[1])
    return state, joined_ahead(parts, shifts=[0] * len(parts))


def nothing_ahead(boxes: int) -> HeatAhead:
    """No forecast at all."""
    none, index = np.empty((0, boxes)), np.empty(0, dtype=np.int64)
    return HeatAhead(index, index, none, none, none, none, none, none, none)


def joined_ahead(parts: list[HeatAhead], *, shifts: list[int]) -> HeatAhead:
    """Forecasts laid end to end; `shifts` is added to each one's row numbers."""
    names = HeatAhead.__dataclass_fields__
    whole = HeatAhead(**{name: np.concatenate([getattr(p, name) for p in parts]) for name in names})
    row = [part.row + shift for part, shift in zip(parts, shifts, strict=True)]
    return replace(whole, row=np.concatenate(row))


def _look(
    state: HeatState, trace: Trace, here: IntArray, limits: FloatArray, boxes: tuple[Box, ...], site: Site,
    step_s: int,
) -> tuple[HeatState, HeatAhead]:  # fmt: skip
    """Rows within one day of learning."""
    part = trace if len(here) == len(trace) else kept_rows(trace, here)
    tail = len(state.sun_tail)
    suns = np.concatenate([state.sun_tail, part.sun])
    due = _due(part.time_s, ISSUE_EVERY_S, step_s)
    if site.has_sun:
        due &= part.elevation_deg > _SUN_LEAST_DEG
    rows = np.flatnonzero(due)
    learning, ahead = state.learning, nothing_ahead(part.sun.shape[1])
    if len(rows):
        limit = limits[here][rows]
        outlook = outlook_at(part, rows, past_suns(suns, rows + tail, step_s), site)
        ahead = _forecast(learning, part, rows, outlook, limit, here)
        learning = _asked(learning, part, rows, outlook, limit, boxes, site, step_s)
    learning = listen(learning, part, step_s=step_s)
    following = HeatState(
        time_s=int(part.time_s[-1]), sun_tail=suns[len(suns) - tail :].copy(), learning=learning
    )
    return following, ahead


def _forecast(
    learning: LearningState, trace: Trace, rows: IntArray, outlook: Outlook, limit: FloatArray, here: IntArray
) -> HeatAhead:
    gap = np.nan_to_num(limit - outlook.air5_c, nan=NEAR_LIMIT_C)
    chance = chances(learning, features_of(outlook, limit))
    plain = line_chances(gap, outlook.slope10).transpose(1, 0, 2)
    # A box that does not behave as learnt: the plain method has its say.
    chance = np.where(trace.fits[rows][:, None], chance, 0.5 * (chance + plain))
    chance = np.where(learning.plain_decides[:, None], plain, chance)
    chance = np.maximum.accumulate(chance, axis=1)
    far = gap > NEAR_LIMIT_C
    chance = np.where(outlook.usable[:, None], np.where(far[:, None], 0.0, chance), np.nan)
    time_s = trace.time_s[rows]
    eta_low, eta, eta_high = (time_s[:, None] + 60.0 * m for m in eta_minutes(chance))
    return HeatAhead(
        row=here[rows], time_s=time_s, limit_c=limit, p20=chance[:, 0], p30=chance[:, 1], p60=chance[:, 2],
        eta_s=eta, eta_low_s=eta_low, eta_high_s=eta_high,
    )  # fmt: skip


def eta_minutes(chance: FloatArray) -> FloatArray:
    """Minutes to the limit if it is passed within the hour: 5 %, 50 % and 95 % points, (3, m, b).

    From the chances themselves, (m, 3, b), joined by straight lines: they are learnt, and so is this.
    NaN where the hour's chance is too small to speak of a time.
    """
    p20, p30, p60 = chance[:, 0], chance[:, 1], chance[:, 2]
    some = 1e-9
    points = []
    for share in (0.05, 0.5, 0.95):
        part = share * p60
        by20 = 20.0 * part / np.maximum(p20, some)
        by30 = 20.0 + 10.0 * (part - p20) / np.maximum(p30 - p20, some)
        by60 = 30.0 + 30.0 * (part - p30) / np.maximum(p60 - p30, some)
        points.append(np.where(part <= p20, by20, np.where(part <= p30, by30, by60)))
    return np.where(p60 >= _ETA_LEAST_CHANCE, np.stack(points), np.nan)


def _asked(
    learning: LearningState, trace: Trace, rows: IntArray, outlook: Outlook, limits: FloatArray,
    boxes: tuple[Box, ...], site: Site, step_s: int,
) -> LearningState:  # fmt: skip
    """Put the invented limits of these rows to the boxes."""
    chosen = _due(trace.time_s[rows], SAMPLE_EVERY_S, step_s)
    if site.has_sun:
        chosen &= trace.elevation_deg[rows] > _SAMPLE_SUN_DEG
    picked = np.flatnonzero(chosen)
    if not len(picked):
        return learning
    there = Outlook(
        path_c=outlook.path_c[:, :, picked],
        **{name: getattr(outlook, name)[picked] for name in Outlook.__dataclass_fields__ if name != "path_c"},
    )
    limit = there.air5_c + invented_limits(boxes, trace.time_s[rows[picked]])
    limit = np.where(asked_boxes(trace, rows[picked], limit) & there.usable, limit, np.nan)
    return ask(
        learning,
        trace.time_s[rows[picked]],
        features=features_of(there, limit),
        plain=line_chances(limit - there.air5_c, there.slope10).transpose(1, 0, 2),
        limit_c=limit,
        true_limit_c=limits[picked],
    )


def _due(time_s: IntArray, every_s: int, step_s: int) -> FloatArray:
    """The first row in each stretch of `every_s` by the clock."""
    return time_s // every_s != (time_s - step_s) // every_s


def past_suns(suns: FloatArray, rows: IntArray, step_s: int) -> FloatArray:
    """Sun index of the last hour and a half before each row, (k, m, b)."""
    apart = max(1, _PAST_EVERY_MIN * 60 // step_s)
    count = max(1, SUN_PAST_MIN * 60 // (apart * step_s))
    lags = apart * np.arange(count - 1, -1, -1)
    return suns[rows[None] - lags[:, None]]
