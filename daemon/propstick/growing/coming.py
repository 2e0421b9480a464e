"""What temperatures to reckon with from now on: the last days, and the season's warming beyond them.

No weather service: tomorrow is like the last ten days at the same hour, moved along the year's curve.
Weather beyond a week cannot be known, so a single spread stands for how far the mean of what comes
may lie from that; it decides how wide a date is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.growing.hours import DAY_H, HOUR_S
from propstick.times import DAY_S
from propstick.units import FloatArray, IntArray

YEAR_D = 365.25
COLDEST_DAY = 20.0
"""Day of the year at which the north is coldest; soil and box follow within days. Common practice."""
SWING_C = 8.0
"""Half of the difference between the year's warmest and coldest days, where the garden has not shown
its own. Common practice; measured years here: Newark 12.7, Davos 8.0 °C."""
SWING_SPREAD = 0.35
"""How far the swing may be off, of itself."""
AIR_SPREAD_C = 3.3
SOIL_SPREAD_C = 2.3
"""Standard deviation of the mean of the coming days about what is expected here, much the same for
three days as for sixty. Measured on spring days (February to May): Newark 2013 2.0 to 3.4, Davos
2013–17 3.1 to 3.5, Tharandt 1998 4.2 to 5.6 in air, 2.1 to 2.6 in soil."""
LAST_DAYS = 10
LEAST_H = 24


@dataclass(frozen=True, kw_only=True)
class Coming:
    """Expected hours from now on.

    Attributes:
        time_s: UTC seconds at which each hour begins, shape (h,).
        value_c: Expected temperature, shape (h,).
        spread_c: Standard deviation of the mean from the first hour to this one, shape (h,).
    """

    time_s: IntArray
    value_c: FloatArray
    spread_c: FloatArray

    def shifted(self, deviations: float) -> FloatArray:
        """The hours if it comes warmer (or colder) than expected by so many standard deviations."""
        return self.value_c + deviations * self.spread_c


def year_curve(time_s: FloatArray | IntArray, latitude: float | None) -> FloatArray:
    """Where the year stands between its coldest (-1) and its warmest (+1) days."""
    day = np.asarray(time_s, dtype=float) / DAY_S  # 1970 began on a 1 January
    turn = 2.0 * np.pi * (day - COLDEST_DAY) / YEAR_D
    return np.cos(turn) if latitude is not None and latitude < 0 else -np.cos(turn)


def warming_c_per_day(time_s: float, latitude: float | None, *, swing_c: float = SWING_C) -> float:
    """How much a day is warmer than the one before, by the year's curve."""
    ends = year_curve(np.array([time_s - DAY_S / 2, time_s + DAY_S / 2]), latitude)
    return swing_c * float(ends[1] - ends[0])


def coming(
    time_s: IntArray,
    value_c: FloatArray,
    *,
    days: int,
    latitude: float | None,
    spread_c: float,
    swing_c: float = SWING_C,
) -> Coming | None:
    """What to expect for so many days after the last hour given.

    Args:
        time_s, value_c: Measured hours, shape (h,), NaN where none was; the last ten days are used.
        latitude: Tells north from south; None is taken as north.
        spread_c: `AIR_SPREAD_C` or `SOIL_SPREAD_C`, wider where it was not measured.

    Returns:
        None where less than a day was measured in the last ten.
    """
    if not len(time_s):
        return None
    end_s = int(time_s[-1]) + HOUR_S
    recent = (time_s >= end_s - LAST_DAYS * DAY_S) & ~np.isnan(value_c)
    if recent.sum() < LEAST_H:
        return None
    then_s, then_c = time_s[recent], value_c[recent]
    centre_curve = float(year_curve(then_s, latitude).mean())
    by_hour = _profile((then_s // HOUR_S) % DAY_H, then_c)
    ahead_s = end_s + HOUR_S * np.arange(days * DAY_H, dtype=np.int64)
    moved = year_curve(ahead_s, latitude) - centre_curve
    trend = swing_c * moved
    # The spread of the trend grows with the way along the year; the weather's does not.
    spread = np.hypot(spread_c, SWING_SPREAD * np.abs(trend) * 0.5)
    return Coming(time_s=ahead_s, value_c=by_hour[(ahead_s // HOUR_S) % DAY_H] + trend, spread_c=spread)


def _profile(hour: IntArray, value_c: FloatArray) -> FloatArray:
    """The mean of each hour of the day, (24,); hours never seen lie between their neighbours."""
    count = np.bincount(hour, minlength=DAY_H)
    total = np.bincount(hour, weights=value_c, minlength=DAY_H)
    seen = np.flatnonzero(count)
    mean = total[seen] / count[seen]
    return np.interp(np.arange(DAY_H), seen, mean, period=DAY_H)
