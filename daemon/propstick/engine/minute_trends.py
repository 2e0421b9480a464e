"""Means and slopes of the last minutes up to each row, from the window of rows that is carried."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine.windows import (
    Window,
    lagged,
    trailing_least,
    trailing_mean,
    trailing_slope,
)
from propstick.units import FloatArray

OUTSIDE_MEAN_MIN = 15
BANK_OUTSIDE_MEAN_MIN = 3
CARRIED_S = 300.0
"""A box read less often than this is judged by its readings, not by means over carried values."""


@dataclass(frozen=True)
class MinuteTrends:
    """At each of n rows; NaN where nothing is known.

    Attributes:
        outside15_c, outside3_c, outside_c_min: Means of the outside air over so many minutes and its change
            over half an hour [°C/min], (n,).
        soil15_c, air3_c, air5_c: Means, (n, b).
        held5_c: Least of the last five minutes, (n, b).
        slope5, slope10, slope45: Rise over so many minutes [°C/min], (n, b).
    """

    outside15_c: FloatArray
    outside3_c: FloatArray
    outside_c_min: FloatArray
    soil15_c: FloatArray
    air3_c: FloatArray
    air5_c: FloatArray
    held5_c: FloatArray
    slope5: FloatArray
    slope10: FloatArray
    slope45: FloatArray


def trends_of(past: Window, *, newest: int, minutes: float, read_every_s: FloatArray | None) -> MinuteTrends:
    """The trends at the newest rows of a window.

    Args:
        minutes: From row to row.
        read_every_s: Seconds between the readings of each box's air; None: every row has one.
    """
    h = len(past) - newest

    def rows(length_min: float) -> int:
        return max(1, round(length_min / minutes))

    outside15 = trailing_mean(past.outside_c, rows(OUTSIDE_MEAN_MIN))
    lag30, lag5, lag45 = rows(30), rows(5), rows(45)
    air5 = trailing_mean(past.air_c, rows(5))
    found = MinuteTrends(
        outside15_c=outside15[h:],
        outside3_c=trailing_mean(past.outside_c, rows(BANK_OUTSIDE_MEAN_MIN), newest=newest),
        outside_c_min=((outside15 - lagged(outside15, lag30)) / (lag30 * minutes))[h:],
        soil15_c=trailing_mean(past.soil_c, rows(OUTSIDE_MEAN_MIN), newest=newest),
        air3_c=trailing_mean(past.air_c, rows(3), newest=newest),
        air5_c=air5[h:],
        held5_c=trailing_least(past.air_c, rows(5))[h:],
        slope5=((air5 - lagged(air5, lag5)) / (lag5 * minutes))[h:],
        slope10=trailing_slope(past.air_c, rows(10), minutes=minutes, newest=newest),
        slope45=((air5 - lagged(air5, lag45)) / (lag45 * minutes))[h:],
    )
    for box in [] if read_every_s is None else np.flatnonzero(read_every_s > CARRIED_S):
        # Between readings far apart a value is carried: means lag behind it, and slopes come in jumps.
        lag = min(rows(read_every_s[box] / 60.0), h)
        air = past.air_c[h:, box]
        rise = (air - lagged(past.air_c, lag)[h:, box]) / (lag * minutes)
        found.air5_c[:, box], found.slope5[:, box], found.slope10[:, box] = air, rise, rise
    return found
