"""Plain methods: what a forecast must beat to be worth issuing.

Last night's drop, the mean drop at this hour, FAO's frost equation (`frost_fao.py`) and the best recent
lift; the straight line is in `heat_plain.py`. Sums are carried, nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine import frost_fao
from propstick.units import FloatArray

FAO_NIGHTS = 10
"""Nights before the frost equation is fitted well enough to use; until then, last night's drop."""
PRIOR_DROP_C_PER_H = -0.35
"""Drop to the minimum per hour left to sunrise, until nights have been seen; tuned, no other authority."""
PRIOR_NIGHTS = 2.0
"""How many nights that prior is worth. Tuned likewise."""


@dataclass(frozen=True)
class NightRecord:
    """What past nights did, by issue hour h and column c (boxes, then outside).

    Attributes:
        count, drop_sum_c, last_drop_c: Nights, sum of (minimum - air at that hour), the last one; (h, c).
        fao: Sums of the frost equation, shape (h, c, 6).
    """

    count: FloatArray
    drop_sum_c: FloatArray
    last_drop_c: FloatArray
    fao: FloatArray


def no_nights(hours: int, columns: int) -> NightRecord:
    """The record before the first night."""
    nothing = np.zeros((hours, columns))
    return NightRecord(nothing, nothing, nothing + np.nan, frost_fao.no_nights((hours, columns)))


def add_night(record: NightRecord, air_c: FloatArray, minimum_c: FloatArray) -> NightRecord:
    """The record with one night more.

    Args:
        air_c, minimum_c: Air at each issue hour and the lowest air from then on, shape (h, c); NaN
            where the night does not count.
    """
    drop = minimum_c - air_c
    known = ~np.isnan(drop)
    return NightRecord(
        count=record.count + known,
        drop_sum_c=record.drop_sum_c + np.where(known, drop, 0.0),
        last_drop_c=np.where(known, drop, record.last_drop_c),
        fao=frost_fao.add_night(record.fao, air_c, minimum_c),
    )


def usual_drop_c(record: NightRecord, hour: int, *, hours_left: float) -> FloatArray:
    """Mean drop from this hour to the minimum, leaning on the prior in the first nights; shape (c,)."""
    prior = PRIOR_DROP_C_PER_H * max(hours_left, 0.0)
    return (record.drop_sum_c[hour] + PRIOR_NIGHTS * prior) / (record.count[hour] + PRIOR_NIGHTS)


def last_drop_c(record: NightRecord, hour: int, air_c: FloatArray) -> FloatArray:
    """Air now plus last night's drop from this hour; NaN before the first night."""
    return air_c + record.last_drop_c[hour]


def mean_drop_c(record: NightRecord, hour: int, air_c: FloatArray) -> FloatArray:
    """Air now plus the mean of past drops from this hour; NaN before the first night."""
    count = record.count[hour]
    return air_c + np.where(count > 0, record.drop_sum_c[hour] / np.maximum(count, 1.0), np.nan)


def fao_c(record: NightRecord, hour: int, air_c: FloatArray) -> FloatArray:
    """The frost equation refitted on past nights at this hour; last night's drop until it can be."""
    forecast = frost_fao.equation_of(record.fao[hour]).minimum_c(air_c)
    ready = (record.count[hour] >= FAO_NIGHTS) & ~np.isnan(forecast)
    return np.where(ready, forecast, last_drop_c(record, hour, air_c))


def best_lift_c(recent_lift_c: FloatArray) -> FloatArray:
    """The largest (box maximum - outside maximum) of recent days, the plain guide to a clear day.

    Args:
        recent_lift_c: Shape (days, b); NaN for days that do not count.
    """
    if not len(recent_lift_c):
        return np.full(recent_lift_c.shape[1:], np.nan)
    return np.fmax.reduce(recent_lift_c, axis=0)
