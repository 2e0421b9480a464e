"""In what steps does a probe read? Half a degree at a time says less, minute by minute, than a sixteenth.

A reading rounded to steps of q is off by any amount up to q / 2 alike, which is q / √12 in the mean; what
two of them differ by is off by q / √6. That much of a minute's surprise is the probe's, not the box's.

Source: a uniform distribution's variance is its width squared over 12 (JCGM 100:2008, 4.3.7 and F.2.2.1,
from memory).
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from propstick.units import FloatArray

COARSEST_C = 1.2
"""A step beyond this is no probe's grain: the air moved, or two probes took turns. Whole °C is the coarsest
that is sold, common practice."""


def finest_step_c(air_c: FloatArray, before_c: FloatArray, *, newest: int) -> FloatArray:
    """The smallest change from row to row so far, (newest, b); infinite while there was none.

    Args:
        air_c: Readings with at least one row before the newest, (h + newest, b).
        before_c: The smallest change before the newest rows, (b,).
    """
    change = np.abs(np.diff(air_c[len(air_c) - 1 - newest :], axis=0))
    change = np.where(change > 0.0, change, np.inf)  # NaN is no change either
    return np.fmin.accumulate(np.concatenate([before_c[None], change]), axis=0)[1:]


def rounding_sd_c(finest_c: FloatArray) -> FloatArray:
    """How far the rounding alone sets one minute's change off; 0 where the step is not known."""
    known = np.isfinite(finest_c) & (finest_c <= COARSEST_C)
    return np.where(known, finest_c, 0.0) / sqrt(6.0)
