"""Where the lid is when nobody told: four observers side by side, weighed by who foretells best.

Each copy of the observer holds the lid at a fixed opening. The one whose next readings surprise it
least gains weight; openings change rarely (a hidden Markov chain). Temperature says little by day,
when a passing cloud looks like an open lid, and only so much at night, when a closed box is a degree
or two warmer than outside: say "not holding heat", not "open", and offer a contact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine.holding import HoldWatch, minute_sd_c, start_holding, watch_holding
from propstick.engine.trace import LID_BANK, SUN_USED_W_M2, Trace
from propstick.units import BoolArray, FloatArray

OPENINGS = np.array(LID_BANK)
LOOSE_BELOW = 0.1
"""P(closed) now, from which a box may no longer hold heat."""
_DAY_SD_C = 0.2
_INDEPENDENT_BY_DAY = 0.25
_MOST = 30.0
_SWITCH_PER_MIN = 1.0 / 600.0
_START = np.array([0.85, 0.06, 0.05, 0.04])


@dataclass(frozen=True)
class OpeningState:
    """Weight of each opening, (4, b), and this night's evidence against a shut lid."""

    weight: FloatArray
    holding: HoldWatch


@dataclass(frozen=True)
class Openings:
    """The estimate at each row, (n, b).

    Attributes:
        opening: As told where told, else expected.
        p_closed: Probability that the lid is shut.
        loose: At night, no lid told: the box has stopped holding heat.
        weight: Probability of each opening of `LID_BANK`, (n, 4, b).
    """

    opening: FloatArray
    p_closed: FloatArray
    loose: BoolArray
    weight: FloatArray


def start_opening(boxes: int) -> OpeningState:
    """Shut, most likely."""
    return OpeningState(np.repeat(_START[:, None], boxes, axis=1), start_holding(boxes))


def judge_openings(
    state: OpeningState, trace: Trace, *, ceiling: FloatArray, step_s: int
) -> tuple[OpeningState, Openings]:
    """Weigh the openings row by row.

    Args:
        ceiling: Clear-sky ceiling of the sun index at each row, (n, b).
    """
    n, b = trace.sun.shape
    minutes = step_s / 60.0
    by_day = trace.clear_sky_w_m2 > SUN_USED_W_M2
    likelihood = _likelihood(trace, ceiling, by_day, minutes)
    told = _weights_of(trace.lid)
    stay = (1.0 - _SWITCH_PER_MIN) ** minutes
    blend = (1.0 - stay) / len(OPENINGS)
    weights = np.empty((n, len(OPENINGS), b))
    weight = state.weight.copy()
    total = np.empty(b)
    told_any, told_all = trace.lid_told.any(axis=1).tolist(), trace.lid_told.all(axis=1).tolist()
    for i in range(n):
        if told_all[i]:
            weight = told[i]
            weights[i] = weight
            continue
        weight = weight * likelihood[i]
        np.add.reduce(weight, axis=0, out=total)
        weight /= total
        weight *= stay
        weight += blend
        if told_any[i]:
            weight = np.where(trace.lid_told[i], told[i], weight)
        weights[i] = weight
    p_closed = weights[:, 0]
    expected = np.zeros((n, b))
    for k, opening in enumerate(OPENINGS):
        expected += opening * weights[:, k]
    # In twilight a low sun does what an open lid does.
    is_dark = trace.clear_sky_w_m2 <= 0.0
    holding, stopped = watch_holding(state.holding, trace, is_dark=is_dark, minutes=minutes)
    speaks = is_dark[:, None] & ~trace.lid_told & trace.known
    openings = Openings(
        opening=np.where(trace.lid_told, trace.lid, expected),
        p_closed=p_closed,
        loose=speaks & (p_closed < LOOSE_BELOW) & stopped,
        weight=weights,
    )
    if n:
        state = OpeningState(weights[-1].copy(), holding)
    return state, openings


def joined_openings(parts: list[Openings]) -> Openings:
    """Estimates laid end to end."""
    names = Openings.__dataclass_fields__
    return Openings(**{name: np.concatenate([getattr(p, name) for p in parts]) for name in names})


def _likelihood(trace: Trace, ceiling: FloatArray, by_day: BoolArray, minutes: float) -> FloatArray:
    """How well each opening foretold each row, scaled to 1 for the best, (n, 4, b)."""
    night_sd = minute_sd_c(trace.night_sd_c, trace.rounding_sd_c)
    sd = np.where(by_day[:, None], _DAY_SD_C, night_sd)[:, None]
    surprise = trace.bank_error_c / sd
    independent = np.where(by_day, _INDEPENDENT_BY_DAY, 1.0)[:, None, None]
    log_likelihood = -independent * np.minimum(0.5 * surprise * surprise, _MOST)
    # More sun than a clear sky gives: the copy with the lid too far open has to invent it.
    room = np.maximum(0.15 * ceiling[:, None], 1e-3)  # a bearing that never has sun has no ceiling
    excess = np.maximum((trace.bank_sun - 1.1 * ceiling[:, None]) / room, 0.0)
    log_likelihood -= np.where(by_day[:, None, None], 0.5 * np.minimum(excess * excess, 9.0) / 20.0, 0.0)
    log_likelihood *= minutes * (trace.outside_known[:, None] & trace.known)[:, None]
    return np.exp(log_likelihood - log_likelihood.max(axis=1, keepdims=True))


def _weights_of(lid: FloatArray) -> FloatArray:
    """A told opening as weights of the two nearest openings of the bank, (n, 4, b)."""
    weights = np.zeros((len(lid), len(OPENINGS), lid.shape[1]))
    for k, share in enumerate(np.eye(len(OPENINGS))):
        weights[:, k] = np.interp(lid, OPENINGS, share)
    return weights
