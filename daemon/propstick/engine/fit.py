"""Learns each box's rates from how far the minute model was off, once a day.

Gauss–Newton on six logarithms per box, kept as an information filter that forgets towards its prior:
a season old box counts for about a month, and a box that never tells (always shut, always cloudy)
stays what boxes of its size usually are. The figures are not separately identified: together they
forecast, one by one they must never be shown as the box's U-value.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.engine.telling_days import usual
from propstick.garden import Box
from propstick.physics.box import BoxRates
from propstick.units import BoolArray, FloatArray

RATE_NAMES = BoxRates._fields
N_RATES = len(RATE_NAMES)

PRIOR_RATES = BoxRates(0.052, 0.043, 0.42, 0.0245, 0.06, 1.0)
"""Medians for 0.72 m² under single glass with about 9 kJ/K of air, frame and leaves: 7.8 W/K closed,
9 W/m²K from the soil surface, 63 W/K fully open in light wind, 1 cm of soil over a probe at 4–5 cm.
Common practice, no source; checked on invented boxes of 0.3 to 3 times these figures."""
PRIOR_SD_LOG = np.array([0.20, 0.20, 0.24, 0.24, 0.24, 0.24])
"""Each by itself; tight on purpose: with twice this they run to their bounds and forecast no better."""
PRIOR_SPEED_SD_LOG = 0.25
"""And together: what a box holds (stones, cans, wet leaves) slows the first three rates alike."""
_SPEED = np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0])

GLAZING_LOSS = {"glass": 1.0, "film": 1.05, "twin-wall": 0.62, "double-glass": 0.58}
"""Loss against single glass. Single 5.8, film 6.0, twin-wall 3.4, double 3.2 W/m²K, of which the walls
and the draughts of a frame do not share; common practice, no source."""

NUDGE_LOG = 0.05
"""Step of each logarithm for the finite-difference sensitivities."""
BLOCK_S = 300
"""Errors are averaged over this long before they are learnt from: within it they are not independent."""
_ERROR_SD_C = 0.08
_HUBER_C = 0.2
_BLOCK_INFORMATION = 5.0 / 8.0
"""A block of five one-minute errors counts as five eighths of an independent one; tuned."""
_KEEP = 0.97
_MOST_STEP = 0.3
_MOST_SD = 2.5
_RECORD_DAYS = 30
_USUAL_RMS_C = 0.08
_LEAST_BLOCKS = 36
_MISFIT_RATIO = 2.0
"""A day whose error is this many times the usual one no longer fits; common practice, no source."""
_MISFIT_TWICE_RATIO = 1.6
"""And so do two days running with this; on invented boxes left alone hardly two came near it."""
_LEAST_USUAL_C = 0.05
"""In a dull spell a box is off by half of this, and the first sun would then look like a change."""
_MOST_BY_WEATHER = 1.6
"""A day on which the other boxes of the garden are off by more than usual too was hard for all: at most so
much of it is laid on the weather. Lids blown off all boxes are still seen. Both set on invented boxes."""


@dataclass(frozen=True)
class FitState:
    """What is learnt of each box, and today's evidence.

    Attributes:
        theta: Logarithms of the rates, shape (6, b).
        theta0: Their prior, shape (6, b).
        information: Shape (b, 6, 6).
        normal: Today's J'WJ, shape (b, 6, 6).
        slope: Today's J'We, shape (b, 6).
        squares: Today's sum of squared block errors, shape (b,).
        blocks: Today's count of blocks learnt from, shape (b,).
        record_c: Root-mean-square error of each past day, newest last, shape (30, b); NaN = none.
        usual_rms_c: The error of a usual day [°C]: median of the record, or of it and four days of prior if
            that is more, (b,).
        fits: Whether the last judged day fitted, shape (b,).
    """

    theta: FloatArray
    theta0: FloatArray
    information: FloatArray
    normal: FloatArray
    slope: FloatArray
    squares: FloatArray
    blocks: FloatArray
    record_c: FloatArray
    usual_rms_c: FloatArray
    fits: BoolArray


def prior_theta(boxes: tuple[Box, ...]) -> FloatArray:
    """Logarithms of the rates to expect of each box from its size and glazing, shape (6, b).

    Loss through glass goes with the floor, through walls with its edge; air, frame and leaves hold
    heat in proportion to the floor. Per minute, therefore, a larger box loses a little more slowly.
    """
    theta = np.repeat(np.log(np.array(PRIOR_RATES))[:, None], len(boxes), axis=1)
    for k, box in enumerate(boxes):
        edge = np.sqrt(0.72 / max(box.floor_m2, 0.05))
        glass_share = 0.55
        loss = glass_share * GLAZING_LOSS.get(box.glazing, 1.0) + (1.0 - glass_share) * edge
        theta[0, k] += np.log(loss)
        theta[2, k] += 0.5 * np.log(edge)
    return theta


def start_fit(boxes: tuple[Box, ...]) -> FitState:
    """Day one: the prior, no evidence."""
    b = len(boxes)
    theta = prior_theta(boxes)
    return FitState(
        theta=theta,
        theta0=theta.copy(),
        information=np.repeat(_prior_information()[None], b, axis=0),
        normal=np.zeros((b, N_RATES, N_RATES)),
        slope=np.zeros((b, N_RATES)),
        squares=np.zeros(b),
        blocks=np.zeros(b),
        record_c=np.full((_RECORD_DAYS, b), np.nan),
        usual_rms_c=np.full(b, _USUAL_RMS_C),
        fits=np.ones(b, dtype=bool),
    )


def gather(
    state: FitState, errors_c: FloatArray, weight: FloatArray, *, judged: FloatArray | None = None
) -> FitState:
    """Add the evidence of some blocks, one after the other.

    Args:
        errors_c: Mean error of the run with the present rates, then of the six nudged ones, (k, 7, b).
        weight: Share of each block's rows that may be learnt from, (k, b).
        judged: Share of them by which the box may be judged; by default all, (k, b).
    """
    error = errors_c[:, :1]
    jacobian = (errors_c[:, 1:] - error) / NUDGE_LOG
    trust = weight[:, None] * _BLOCK_INFORMATION
    trust = trust / (_ERROR_SD_C * _ERROR_SD_C * np.maximum(1.0, np.abs(error) / _HUBER_C))
    weighted = jacobian * trust
    normal = (weighted[:, :, None] * jacobian[:, None]).transpose(0, 3, 1, 2)
    slope = (weighted * error).transpose(0, 2, 1)
    judged = weight if judged is None else judged
    return replace(
        state,
        normal=_added(state.normal, normal),
        slope=_added(state.slope, slope),
        squares=_added(state.squares, judged * error[:, 0] * error[:, 0]),
        blocks=_added(state.blocks, judged),
    )


def _added(total: FloatArray, parts: FloatArray) -> FloatArray:
    # Accumulate, not sum: numpy sums in pairs, and then the cut between two calls would show.
    return np.add.accumulate(np.concatenate([total[None], parts]), axis=0)[-1]


def learn(state: FitState) -> FitState:
    """Turn the day's evidence into new rates, judge whether the day fitted, and begin a new day.

    A day that did not fit (snow, a moved probe, a box emptied or watered, a lid blown off) weakens
    what was known so that the box is learnt afresh.
    """
    rms = np.sqrt(state.squares / np.maximum(state.blocks, 1.0))
    judged = state.blocks >= _LEAST_BLOCKS
    expected = np.maximum(state.usual_rms_c, _LEAST_USUAL_C)
    expected = expected * _hard_for_others(np.where(judged, rms / expected, np.nan))
    again = np.fmin(rms, state.record_c[-1]) > _MISFIT_TWICE_RATIO * expected
    known = ~np.isnan(state.record_c).all(axis=0)  # on its first day nothing can have changed
    fits = np.where(judged & known, (rms <= _MISFIT_RATIO * expected) & ~again, state.fits)
    known = np.where(fits, 1.0, 0.5)[:, None, None] * state.information
    prior = _prior_information()
    information = _KEEP * known + (1.0 - _KEEP) * prior + state.normal
    pull = (1.0 - _KEEP) * np.einsum("fg,gb->bf", prior, state.theta - state.theta0)
    move = np.linalg.solve(information, (-state.slope - pull)[:, :, None])[:, :, 0].T
    bound = _MOST_SD * np.sqrt(np.diag(_prior_covariance()))[:, None]
    theta = state.theta + np.clip(np.nan_to_num(move), -_MOST_STEP, _MOST_STEP)
    record = np.where(judged, np.concatenate([state.record_c[1:], rms[None]]), state.record_c)
    return replace(
        state,
        theta=np.clip(theta, state.theta0 - bound, state.theta0 + bound),
        information=information,
        normal=np.zeros_like(state.normal),
        slope=np.zeros_like(state.slope),
        squares=np.zeros_like(state.squares),
        blocks=np.zeros_like(state.blocks),
        record_c=record,
        usual_rms_c=_usual(record),
        fits=fits,
    )


def _hard_for_others(ratio: FloatArray) -> FloatArray:
    """How many times further off than usual the median of the other boxes was, 1 to 1.6, (b,)."""
    hard = np.ones(len(ratio))
    for k in range(len(ratio)):
        others = np.delete(ratio, k)
        others = others[~np.isnan(others)]
        if len(others):
            hard[k] = np.clip(np.median(others), 1.0, _MOST_BY_WEATHER)
    return hard


def _usual(record_c: FloatArray) -> FloatArray:
    prior = np.full((4, record_c.shape[1]), _USUAL_RMS_C)
    blended = np.nanmedian(np.concatenate([prior, record_c]), axis=0)
    # A box that is off further than others from its first day on (read by the hour, say) has not changed.
    return np.fmax(blended, usual(record_c))


def rates_of(theta: FloatArray) -> BoxRates:
    """The rates themselves from their logarithms, shape (6, …) to six arrays."""
    return BoxRates(*np.exp(theta))


def _prior_covariance() -> FloatArray:
    speed = PRIOR_SPEED_SD_LOG * _SPEED
    return np.diag(PRIOR_SD_LOG * PRIOR_SD_LOG) + speed[:, None] * speed


def _prior_information() -> FloatArray:
    return np.linalg.inv(_prior_covariance())
