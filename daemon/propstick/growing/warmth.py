"""Thermal time: degree days by the hour, and hours above a limit."""

from __future__ import annotations

import numpy as np

from propstick.growing.hours import DAY_H
from propstick.units import FloatArray

BASE_C = 4.4
"""40 °F, for cool-season vegetables as a group: a farm's newsletter (2021) has it for lettuce, 4 to 5 °C is
given as the lowest for Chinese cabbage (Sim and others 2021, Horticultural Science and Technology
39: 714-725, who quote others). Broccoli has 0 °C (Tan et al. 2000), lettuce in one paper too."""
BEST_C = 21.0
"""Above it more warmth adds nothing: good growth of most cool-season crops is at 10 to 21 °C (Michigan
State University Extension)."""


def degree_days(value_c: FloatArray, *, base_c: float = BASE_C, best_c: float = BEST_C) -> FloatArray:
    """Degree days that each hour adds: the area between base and temperature, best temperature the most.

    Shape of `value_c`; NaN stays NaN.

    Source:
        The area under the temperature between a lower and an upper threshold: Oregon State University
        Extension EM 9305. Check: days half at 80, half at 60 °F are 15 °F days above 55 °F, 1200 of them
        80 days (a college exercise).
    """
    return np.clip(np.asarray(value_c, dtype=float) - base_c, 0.0, best_c - base_c) / DAY_H


def degree_hours_above(value_c: FloatArray, limit_c: float) -> float:
    """Degree hours above a limit, hours without a reading left out."""
    return float(np.nansum(np.maximum(value_c - limit_c, 0.0)))


def hours_above(value_c: FloatArray, limit_c: float) -> int:
    """Whole hours whose mean lies above a limit."""
    return int(np.nansum(value_c > limit_c))
