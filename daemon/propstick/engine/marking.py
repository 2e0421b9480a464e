"""Our own homework: whether a forecast of ours has earned its place beside the plain method.

Where the record says that ours is not better, the plain method decides, and says so by its name.
"""

from __future__ import annotations

from dataclasses import dataclass

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
