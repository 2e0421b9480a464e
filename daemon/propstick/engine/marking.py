"""Our own homework: whether a forecast of ours has earned its place beside the plain method.

Where the record says that ours is not better, the plain method decides, and says so by its name.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.units import BoolArray, FloatArray

LEAST_NIGHTS = 8.0
"""Nights (or days) before a record can turn a decision; until then the prior's judgement stands."""


MISFIT_WIDENS = 1.6
"""What intervals are widened by while a box does not behave as learnt. Common practice, no source."""


@dataclass(frozen=True)
class Record:
    """Running mean squared errors over the same nights or days [°C²], and how many they are; one shape."""

    ours: FloatArray
    plain: FloatArray
    count: FloatArray

    @property
    def plain_decides(self) -> BoolArray:
        """Where ours, over enough nights, was not better than the plain method."""
        return (self.count >= LEAST_NIGHTS) & (self.ours >= self.plain)


def said_plainly(record: Record, *, forecast: str, method: str) -> str:
    """One sentence on a single record for the person who asks how good the forecasts are.

    Args:
        forecast: What is forecast, such as "night minimum".
        method: The plain method's name, such as "mean drop".
    """
    count = float(record.count)
    if count < LEAST_NIGHTS:
        return f"{forecast}: too few to judge yet ({count:.0f} of {LEAST_NIGHTS:.0f})"
    ours, plain = float(np.sqrt(record.ours)), float(np.sqrt(record.plain))
    if record.plain_decides:
        return f"{forecast}: ours is not better ({ours:.1f} °C against {plain:.1f}), so {method} decides"
    return f"{forecast}: off by {ours:.1f} °C, {method} by {plain:.1f}"
