"""How good forecasts were: scores of probabilities, intervals, ensembles, and warnings.

All are functions of arrays and leave out pairs with a NaN. Rank by a proper score (Brier, CRPS, the
interval score) and report coverage beside it, never alone: a wide enough interval always covers.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erf, pi, sqrt

import numpy as np

from propstick.units import FloatArray, IntArray

_erf = np.vectorize(erf, otypes=[np.float64])


def normal_cdf(z: FloatArray) -> FloatArray:
    """Chance that a standard normal value is at most `z`, any shape."""
    return 0.5 * (1.0 + _erf(np.asarray(z, dtype=np.float64) / sqrt(2.0)))


def brier(probability: FloatArray, came: FloatArray) -> float:
    """Mean squared difference of stated chance and what came (1 or 0). 0 is perfect.

    Source: Brier (1950), Monthly Weather Review 78:1-3, in the half form used for two outcomes.
    """
    return _mean((np.asarray(probability) - np.asarray(came)) ** 2)


def crps_normal(mean: FloatArray, sd: FloatArray, observed: FloatArray) -> FloatArray:
    """Continuous ranked probability score of a normal forecast, in the unit of `observed`.

    sd (z (2 Phi(z) - 1) + 2 phi(z) - 1/sqrt(pi)), z = (observed - mean) / sd.

    Source: Gneiting, Raftery (2007), Journal of the American Statistical Association 102:359-378.
    """
    sd = np.asarray(sd, dtype=np.float64)
    z = (np.asarray(observed) - np.asarray(mean)) / sd
    density = np.exp(-0.5 * z * z) / sqrt(2.0 * pi)
    return sd * (z * (2.0 * normal_cdf(z) - 1.0) + 2.0 * density - 1.0 / sqrt(pi))


def crps_ensemble(members: FloatArray, observed: FloatArray) -> FloatArray:
    """The same score of an ensemble: mean |x - y| - half the mean |x - x'| over all pairs.

    Args:
        members: Shape (..., m).
        observed: Shape (...).
    """
    members = np.asarray(members, dtype=np.float64)
    to_observed = np.abs(members - np.asarray(observed)[..., None]).mean(axis=-1)
    between = np.abs(members[..., :, None] - members[..., None, :]).mean(axis=(-2, -1))
    return to_observed - 0.5 * between


def pinball(quantile: FloatArray, observed: FloatArray, *, tau: float) -> FloatArray:
    """Loss of a stated `tau` quantile: tau (y - q) above it, (1 - tau) (q - y) below."""
    miss = np.asarray(observed) - np.asarray(quantile)
    return np.where(miss >= 0.0, tau * miss, (tau - 1.0) * miss)


def interval_score(
    low: FloatArray, high: FloatArray, observed: FloatArray, *, level: float = 0.9
) -> FloatArray:
    """Width of a central interval plus 2/alpha times what it missed by; alpha = 1 - `level`.

    Source: Gneiting, Raftery (2007), Journal of the American Statistical Association 102:359-378.
    """
    low, high, observed = np.asarray(low), np.asarray(high), np.asarray(observed)
    penalty = 2.0 / (1.0 - level)
    below = np.maximum(low - observed, 0.0)
    above = np.maximum(observed - high, 0.0)
    return (high - low) + penalty * (below + above)


def coverage(low: FloatArray, high: FloatArray, observed: FloatArray) -> float:
    """Share of observations inside their interval; NaN without any."""
    low, high, observed = np.broadcast_arrays(low, high, observed)
    known = ~(np.isnan(low) | np.isnan(high) | np.isnan(observed))
    inside = (observed >= low) & (observed <= high)
    return float(inside[known].mean()) if known.any() else float("nan")


def mean_absolute_error(forecast: FloatArray, observed: FloatArray) -> float:
    """Mean absolute error, in the unit of `observed`; NaN without a pair."""
    return _mean(np.abs(np.asarray(forecast) - np.asarray(observed)))


@dataclass(frozen=True)
class Warnings:
    """What a yes-or-no warning came to."""

    hits: int
    misses: int
    false: int
    rejections: int

    @property
    def hit_share(self) -> float:
        """Share of events that were warned of; NaN without an event."""
        return _share(self.hits, self.hits + self.misses)

    @property
    def false_share(self) -> float:
        """Share of warnings after which nothing came; NaN without a warning."""
        return _share(self.false, self.hits + self.false)


def warnings(warned: FloatArray, came: FloatArray) -> Warnings:
    """Count hits, misses, false warnings and correct silences."""
    warned, came = np.asarray(warned, dtype=bool), np.asarray(came, dtype=bool)
    return Warnings(
        hits=int((warned & came).sum()),
        misses=int((~warned & came).sum()),
        false=int((warned & ~came).sum()),
        rejections=int((~warned & ~came).sum()),
    )


@dataclass(frozen=True)
class Reliability:
    """Stated against observed frequency, by bins of stated probability."""

    stated: FloatArray
    observed: FloatArray
    count: IntArray


def reliability(probability: FloatArray, came: FloatArray, *, bins: int = 10) -> Reliability:
    """Mean stated chance and share that came, in equal bins of the stated chance; NaN where empty."""
    probability, came = np.asarray(probability, dtype=np.float64), np.asarray(came, dtype=np.float64)
    known = ~(np.isnan(probability) | np.isnan(came))
    probability, came = probability[known], came[known]
    which = np.minimum((probability * bins).astype(np.int64), bins - 1)
    count = np.bincount(which, minlength=bins)
    safe = np.where(count > 0, count, 1)
    empty = np.where(count > 0, 0.0, np.nan)
    stated = np.bincount(which, weights=probability, minlength=bins) / safe + empty
    observed = np.bincount(which, weights=came, minlength=bins) / safe + empty
    return Reliability(stated=stated, observed=observed, count=count)


def leads_minutes(event_s: IntArray, warning_s: IntArray, *, within_s: int = 3600) -> FloatArray:
    """Minutes from the first warning in the `within_s` before each event to the event; NaN if none.

    Args:
        event_s: UTC seconds at which each event began, shape (e,).
        warning_s: UTC seconds of every warning, ascending, shape (w,).
    """
    event_s, warning_s = np.asarray(event_s, dtype=np.int64), np.asarray(warning_s, dtype=np.int64)
    first = np.searchsorted(warning_s, event_s - within_s, side="left")
    padded = np.append(warning_s, np.iinfo(np.int64).max)
    lead = (event_s - padded[first].astype(np.float64)) / 60.0
    return np.where(padded[first] <= event_s, lead, np.nan)


def way(plain: float, ours: float, ceiling: float) -> float:
    """Share of the road from the plain method's error to the ceiling's that ours has gone."""
    road = plain - ceiling
    return (plain - ours) / road if road > 0.0 else float("nan")


def _mean(values: FloatArray) -> float:
    known = values[~np.isnan(values)]
    return float(known.mean()) if known.size else float("nan")


def _share(part: int, whole: int) -> float:
    return part / whole if whole else float("nan")
