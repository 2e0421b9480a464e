"""How far a usual shut box rises above the outside on a clear day: what all boxes are set beside.

Boxes differ from it by a factor of their own, which sways little along the year.
"""

from __future__ import annotations

from math import exp, nan

from propstick.engine.nights import Daylight
from propstick.engine.rise import noon_sun_w_m2
from propstick.garden import Site

TYPICAL_RISE_C, TYPICAL_NOON_W_M2, LEAST_NOON_W_M2 = 20.0, 700.0, 50.0
BY_SUN, BY_WARMTH_PER_C = 1.2, 0.009
"""Fitted on 42 invented boxes under measured and typical-year weather: beside it the clear rise of a shut box
sways by 7 %, beside the minute model by 10 %."""


def usual_rise_c(day: Daylight, *, site: Site, top_c: float) -> float:
    """The rise up to a factor of each box's own [°C]; NaN where the sun's height is unknown.

    With the sun at noon; and less of it the warmer the outside, as more then goes into vapour and rays.

    Args:
        top_c: Outside maximum of that day.
    """  # fmt: skip
    if not site.has_sun:
        return nan
    sun = max(noon_sun_w_m2(day, site), LEAST_NOON_W_M2) / TYPICAL_NOON_W_M2
    return TYPICAL_RISE_C * sun**BY_SUN * exp(-BY_WARMTH_PER_C * top_c)
