"""One row of the report: ours beside a plain method over the same cases, and what may be said of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import nan
from typing import Any

import numpy as np

from propstick.engine.scores import brier, coverage, mean_absolute_error, reliability, warnings
from propstick.units import BoolArray, FloatArray

LEAST_CASES = 10
"""Fewer nights, days or crossings show nothing: a lucky week looks like skill. Common practice, no source."""
WARN_AT = 0.3
"""Chance from which a person is told of frost, and from which these marks count a warning."""


@dataclass
class Judged:
    """Forecasts of a temperature and what came [°C]; parallel lists, NaN where a method said nothing."""

    middle_c: list[float] = field(default_factory=list)
    low_c: list[float] = field(default_factory=list)
    high_c: list[float] = field(default_factory=list)
    came_c: list[float] = field(default_factory=list)
    plain_c: dict[str, list[float]] = field(default_factory=dict)

    def add(
        self, middle_c: float, low_c: float, high_c: float, *, came_c: float, plain_c: Mapping[str, float]
    ) -> None:
        """One forecast, what came, and what each plain method said."""
        self.middle_c.append(middle_c)
        self.low_c.append(low_c)
        self.high_c.append(high_c)
        self.came_c.append(came_c)
        for name, value in plain_c.items():
            self.plain_c.setdefault(name, []).append(value)

    def rows(self, name: str, *, cases: str) -> list[dict[str, Any]]:
        """One row for each plain method; `cases` is what one forecast stands for, in the plural."""
        if not self.middle_c:
            return []
        middle, low, high, came = (np.array(v) for v in (self.middle_c, self.low_c, self.high_c, self.came_c))
        whole = {
            "forecast": name,
            "count": len(middle),
            "bias_c": figure(_mean(middle - came)),
            "inside_90": figure(coverage(low, high, came)),
            "width_c": figure(_mean(high - low)),
        }
        rows = []
        for plain, values in self.plain_c.items():
            said = np.array(values)
            both = ~np.isnan(said) & ~np.isnan(middle)
            ours_c, plain_c = (mean_absolute_error(v[both], came[both]) for v in (middle, said))
            count = int(both.sum())
            rows.append(
                whole
                | {
                    "compared": count,
                    "error_c": figure(ours_c if count else mean_absolute_error(middle, came)),
                    "plain": plain,
                    "plain_error_c": figure(plain_c),
                }
                | verdict(ours_c, plain_c, count=count, cases=cases, plain=plain)
            )
        return rows


def chances_row(
    name: str, said: FloatArray, plain_said: FloatArray, came: BoolArray, *, plain: str, cases: str
) -> dict[str, Any]:
    """Stated chances of something, beside those of a plain method; NaN where a method said nothing.

    Those that came and those that did not count apart: the fewer of them say how much is known.
    """
    both = ~np.isnan(said) & ~np.isnan(plain_said)
    ours, other = brier(said[both], came[both]), brier(plain_said[both], came[both])
    bins = reliability(said, came, bins=5)
    fewer = int(min(came[both].sum(), (~came[both]).sum()))
    return {
        "forecast": name,
        "count": len(said),
        "compared": int(both.sum()),
        "came": int(came.sum()),
        "brier": figure(ours if both.any() else brier(said, came), 5),
        "plain": plain,
        "plain_brier": figure(other, 5),
        "reliability": [
            {"stated": figure(stated), "observed": figure(observed), "count": int(count)}
            for stated, observed, count in zip(bins.stated, bins.observed, bins.count, strict=True)
            if count
        ],
    } | verdict(ours, other, count=fewer, cases=cases, plain=plain)


def warned_counts(said: FloatArray, came: BoolArray) -> dict[str, int]:
    """What warnings at that chance would have come to."""
    told = warnings(said > WARN_AT, came)
    return {"hits": told.hits, "misses": told.misses, "false": told.false}


def verdict(ours: float, plain_score: float, *, count: int, cases: str, plain: str) -> dict[str, Any]:
    """Whether ours is better, in a flag and in words; None while there are too few cases to say."""
    if count < LEAST_CASES:
        return {"is_better": None, "verdict": f"too few {cases} to say ({count})"}
    is_better = bool(ours < plain_score)
    return {"is_better": is_better, "verdict": f"{'better' if is_better else 'no better'} than {plain}"}


def share_so_far(came: BoolArray) -> FloatArray:
    """The plain chance of each case: the share of the earlier ones, NaN before there is one."""
    before = np.cumsum(came, dtype=float) - came
    number = np.arange(len(came), dtype=float)
    return np.where(number > 0, before / np.maximum(number, 1.0), nan)


def figure(value: float, digits: int = 3) -> float | None:
    """As it goes into JSON: rounded, null where there is none."""
    return None if np.isnan(value) else round(float(value), digits)


def _mean(values: FloatArray) -> float:
    known = values[~np.isnan(values)]
    return float(known.mean()) if len(known) else nan
