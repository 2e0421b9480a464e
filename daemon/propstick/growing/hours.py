"""A place hour by hour: soil and air on one regular grid, and what stands in where a probe was silent.

Emergence goes by soil, and soil probes die. Where one is silent the soil is taken from the air, a day
late and damped, shifted by what the two differed by while both were measured; the answer says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.errors import InputError
from propstick.units import BoolArray, FloatArray, IntArray

HOUR_S = 3600
DAY_H = 24
BRIDGED_H = 6
"""A silence up to so many hours is bridged by a straight line: soil does not change its mind faster."""
SOIL_LAG_H = 12.0
"""Time constant with which soil at sowing depth follows air. A damping depth of 6 to 16 cm gives a lag
of 2 to 3 h and half of the swing at 5 cm (Moene & van Dam 2014, Table 2.2, our reckoning)."""
UNMEASURED_SPREAD_C = 3.0
"""How far the mean of soil may lie from what the air alone suggests. Common practice, no source."""
MEASURED_SPREAD_C = 0.5
"""Of a soil probe: the maker's ± 0.5 °C of a DS18B20."""


@dataclass(frozen=True, kw_only=True)
class PlaceHours:
    """Means of whole hours of one place, without a missing row.

    Attributes:
        time_s: UTC seconds at which each hour begins, shape (h,), 3600 apart.
        soil_c, air_c: Mean of the hour, NaN where nothing was measured, shape (h,).
    """

    time_s: IntArray
    soil_c: FloatArray
    air_c: FloatArray

    def __post_init__(self) -> None:
        if not self.time_s.shape == self.soil_c.shape == self.air_c.shape:
            raise InputError("hours of a place: times, soil and air differ in length, expected the same")
        if len(self.time_s) > 1 and np.any(np.diff(self.time_s) != HOUR_S):
            raise InputError("hours of a place: got uneven times, expected one row an hour")

    def __len__(self) -> int:
        return int(self.time_s.shape[0])


@dataclass(frozen=True, kw_only=True)
class Filled:
    """Temperature of a place without a gap.

    Attributes:
        value_c: Shape (h,); NaN only where nothing at all is known.
        stood_in: Where another place stood in (air for soil, outside for a box), shape (h,).
        spread_c: Standard deviation of the mean of the hours in which another place stood in.
    """

    time_s: IntArray
    value_c: FloatArray
    stood_in: BoolArray
    spread_c: float


def bridged(value: FloatArray, *, longest_h: int = BRIDGED_H) -> FloatArray:
    """The same with gaps of up to `longest_h` hours filled by straight lines; ends stay empty."""
    known = np.flatnonzero(~np.isnan(value))
    if len(known) < 2:
        return value.copy()
    filled = np.interp(np.arange(len(value)), known, value[known])
    following = np.searchsorted(known, np.arange(len(value)))
    inside = (following > 0) & (following < len(known))
    before, after = known[np.maximum(following - 1, 0)], known[np.minimum(following, len(known) - 1)]
    short = inside & (after - before - 1 <= longest_h)
    return np.where(np.isnan(value) & short, filled, value)


def lagged(value: FloatArray, *, lag_h: float = SOIL_LAG_H) -> FloatArray:
    """First-order lag, hour by hour; begins at the first value, holds through silence (NaN before it)."""
    share = -np.expm1(-1.0 / lag_h)
    found = np.full(len(value), np.nan)
    held = np.nan
    for k, now in enumerate(value.tolist()):
        if now == now:
            held = now if held != held else held + share * (now - held)
            found[k] = held
    return found


def soil_of(hours: PlaceHours) -> Filled:
    """Soil as measured, from the air where the probe was silent."""
    soil = bridged(hours.soil_c)
    follower = lagged(bridged(hours.air_c))
    both = ~np.isnan(soil) & ~np.isnan(follower)
    if both.sum() >= DAY_H:
        gap = soil[both] - follower[both]
        offset = float(np.median(gap))
        # The scatter of days, not of hours: what a mean over days may be wrong by.
        spread = max(MEASURED_SPREAD_C, float(np.std(gap)))
    else:
        offset, spread = 0.0, UNMEASURED_SPREAD_C
    stands_in = np.isnan(soil) & ~np.isnan(follower)
    value = np.where(stands_in, follower + offset, soil)
    return Filled(time_s=hours.time_s, value_c=value, stood_in=stands_in, spread_c=spread)


def air_of(hours: PlaceHours, outside: PlaceHours | None = None) -> Filled:
    """Air as measured; where the box was silent, outside air moved by what the two differed by."""
    air = bridged(hours.air_c)
    other = np.full(len(hours), np.nan)
    if outside is not None and len(outside) and len(hours):
        at = (hours.time_s - outside.time_s[0]) // HOUR_S
        inside = (at >= 0) & (at < len(outside))
        other[inside] = bridged(outside.air_c)[at[inside]]
    both = ~np.isnan(air) & ~np.isnan(other)
    offset, spread = 0.0, UNMEASURED_SPREAD_C
    if both.sum() >= DAY_H:
        gap = (air - other)[both]
        offset, spread = float(gap.mean()), max(1.0, float(gap.std() / 2.0))
    stands_in = np.isnan(air) & ~np.isnan(other)
    value = np.where(stands_in, other + offset, air)
    return Filled(time_s=hours.time_s, value_c=value, stood_in=stands_in, spread_c=spread)


def by_day(time_s: IntArray, value: FloatArray, day_starts_s: IntArray, *, least_h: int = 18) -> FloatArray:
    """Mean of each day, (d,); NaN where fewer than `least_h` hours were measured.

    Args:
        day_starts_s: d + 1 rising UTC seconds: the midnights between which the days lie.
    """
    days = len(day_starts_s) - 1
    day = np.searchsorted(day_starts_s, time_s, side="right") - 1
    known = ~np.isnan(value) & (day >= 0) & (day < days)
    count = np.bincount(day[known], minlength=days)[:days]
    total = np.bincount(day[known], weights=value[known], minlength=days)[:days]
    return np.where(count >= least_h, total / np.maximum(count, 1), np.nan)
