"""Small tools on series by the minute: correlated noise, first-order lags, values held per regime."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from propstick.units import FloatArray, IntArray


def relax(values: FloatArray, minutes: float, *, start: float | None = None) -> FloatArray:
    """First-order lag with that time constant; begins at the first value unless told otherwise."""
    keep = float(np.exp(-1.0 / minutes))
    take = 1.0 - keep
    held = float(values[0]) if start is None else start
    out = []
    for value in values.tolist():
        held = keep * held + take * value
        out.append(held)
    return np.array(out)


def lagged_noise(n: int, minutes: float, *, rng: np.random.Generator) -> FloatArray:
    """Gaussian noise of unit variance that forgets with that time constant (Ornstein and Uhlenbeck)."""
    keep = float(np.exp(-1.0 / minutes))
    fresh = rng.standard_normal(n) * np.sqrt(1.0 - keep * keep)
    held = float(rng.standard_normal())
    out = []
    for value in fresh.tolist():
        held = keep * held + value
        out.append(held)
    return np.array(out)


def hold(regimes: IntArray, values: Sequence[float]) -> FloatArray:
    """The value that belongs to each minute's regime."""
    return np.asarray(values, dtype=float)[regimes]
