"""How a garden's own dates move a published figure: one factor, its logarithm normal, updated by Bayes.

A batch came up after so much warmth where the book says so much: their quotient is one observation of
the garden's factor. Prior and scatter of observations are stated, so that each step can be shown.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

PRIOR_LOG_SD = 0.25
"""How far a garden's depth, seed and soil may be from the table's. Common practice: reprints of one
table differ among themselves by a fifth."""
KINSHIP_LOG_SD = 0.35
"""The same where a relative's figure stands in."""
BATCH_LOG_SD = 0.20
"""Scatter from batch to batch in one garden, the day of looking included. Common practice."""
Z90 = 1.645


@dataclass(frozen=True, kw_only=True)
class Factor:
    """What the garden's figure is of the published one: 1.2 = it takes a fifth longer.

    Attributes:
        log_mean, log_sd: Of the garden's factor after what was seen.
        seen: Quotients observed, oldest first.
        prior_sd: Of the logarithm before anything was seen.
    """

    log_mean: float = 0.0
    log_sd: float = PRIOR_LOG_SD
    seen: tuple[float, ...] = ()
    prior_sd: float = PRIOR_LOG_SD

    @property
    def middle(self) -> float:
        """The factor to reckon with."""
        return math.exp(self.log_mean)

    @property
    def next_log_sd(self) -> float:
        """Standard deviation of the logarithm for the next batch: the factor's own and the batch's."""
        return math.hypot(self.log_sd, BATCH_LOG_SD)

    def bounds(self, deviations: float = Z90) -> tuple[float, float]:
        """Lowest and highest to reckon with for the next batch."""
        far = math.exp(deviations * self.next_log_sd)
        return self.middle / far, self.middle * far

    def words(self) -> str:
        """The update in one sentence; empty where nothing was seen."""
        if not self.seen:
            return ""
        batches = "one batch" if len(self.seen) == 1 else f"{len(self.seen)} batches"
        seen = ", ".join(f"{value:.2f}" for value in self.seen)
        return f"your garden: x {self.middle:.2f} of the published figure, from {batches} ({seen})"

    def to_json(self) -> dict[str, Any]:
        """For the API: prior, observations, result."""
        low, high = self.bounds()
        return {
            "factor": round(self.middle, 3),
            "low": round(low, 3),
            "high": round(high, 3),
            "observed": [round(value, 3) for value in self.seen],
            "prior_log_sd": self.prior_sd,
            "log_sd": round(self.log_sd, 4),
        }


def learnt(quotients: Sequence[float], *, prior_sd: float = PRIOR_LOG_SD) -> Factor:
    """The garden's factor after these observed quotients (normal prior, normal scatter, known variances).

    Source:
        Gelman et al., Bayesian Data Analysis, normal mean with known variance (section 2.5):
        precisions add up, the mean is weighted by them.
    """
    usable = tuple(q for q in quotients if q > 0.0 and math.isfinite(q))
    precision = 1.0 / prior_sd**2 + len(usable) / BATCH_LOG_SD**2
    mean = sum(math.log(q) for q in usable) / BATCH_LOG_SD**2 / precision
    return Factor(log_mean=mean, log_sd=math.sqrt(1.0 / precision), seen=usable, prior_sd=prior_sd)
