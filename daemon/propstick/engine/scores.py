"""How good forecasts were: scores of probabilities, intervals and warnings.

All are functions of arrays and leave out pairs with a NaN. Rank by a proper score (Brier) or an error, and
report coverage beside it, never alone: a wide enough interval always covers.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erf, sqrt

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


def way(plain: float, ours: float, ceiling: float) -> float:
    """Share of the road from the plain method's error to the ceiling's that ours has gone."""
    road = plain - ceiling
    return (plain - ours) / road if road > 0.0 else float("nan")


def _mean(values: FloatArray) -> float:
    known = values[~np.isnan(values)]
    return float(known.mean()) if known.size else float("nan")


def _share(part: int, whole: int) -> float:
    return part / whole if whole else float("nan")
