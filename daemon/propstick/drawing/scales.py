"""Where a time and a temperature lie on the paper, and the words of the axes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from math import ceil, floor

from propstick.times import clock_text, local
from propstick.units import FloatArray, IntArray, Unit, c_from_f, shown

_HOUR_STEPS = (1, 2, 3, 4, 6, 12, 24)
_DEGREE_STEPS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)


def figure(value: float, digits: int) -> str:
    """A number with a true minus sign, and no minus before a zero."""
    rounded = round(value, digits) + 0.0
    return f"{rounded:.{digits}f}".replace("-", "−")


@dataclass(frozen=True)
class TimeScale:
    """UTC seconds to x."""

    start_s: int
    end_s: int
    left: float
    right: float
    zone: str | None
    twelve_hour: bool = False

    def x(self, time_s: float | IntArray) -> float | FloatArray:
        """Position; outside the picture too."""
        return self.left + (time_s - self.start_s) / max(self.end_s - self.start_s, 1) * (
            self.right - self.left
        )

    def held(self, time_s: float) -> float:
        """Position, or the nearer edge of the picture."""
        return min(max(float(self.x(time_s)), self.left), self.right)

    def inside(self, time_s: float) -> bool:
        """Whether the picture shows that moment."""
        return self.start_s <= time_s <= self.end_s

    def clock(self, time_s: float) -> str:
        """`05:40`, or `5:40 am`, on the clock there."""
        return clock_text(time_s, self.zone, twelve_hour=self.twelve_hour)

    def ticks(self, *, most: int = 7) -> list[tuple[int, str]]:
        """Whole hours on the clock there and their words, at most so many."""
        hours = (self.end_s - self.start_s) / 3600
        step = next((s for s in _HOUR_STEPS if hours / s <= most), _HOUR_STEPS[-1])
        first = local(self.start_s, self.zone).replace(minute=0, second=0)
        found: list[tuple[int, str]] = []
        # A wall clock may skip or repeat an hour, so every quarter of real time is looked at.
        at = first
        while (time_s := int(at.timestamp())) <= self.end_s:
            here = local(time_s, self.zone)
            if time_s >= self.start_s and here.hour % step == 0 and here.minute == 0:
                found.append((time_s, self._hour(here.hour) if step < 24 else f"{here.day}"))
            at = local(time_s + 900, self.zone) if here.minute % 15 == 0 else at + timedelta(minutes=1)
        return found

    def _hour(self, hour: int) -> str:
        return f"{hour % 12 or 12} {'am' if hour < 12 else 'pm'}" if self.twelve_hour else f"{hour:02d}"


@dataclass(frozen=True)
class DegreeScale:
    """°C to y, with marks at round figures of the person's unit."""

    low_c: float
    high_c: float
    top: float
    bottom: float
    unit: Unit

    def y(self, value_c: float | FloatArray) -> float | FloatArray:
        """Position; outside the panel too."""
        return self.bottom - (value_c - self.low_c) / (self.high_c - self.low_c) * (self.bottom - self.top)

    def ticks(self, *, most: int = 6) -> list[tuple[float, str]]:
        """°C and words of the marks, at most so many."""
        low, high = shown(self.low_c, self.unit), shown(self.high_c, self.unit)
        step = next((s for s in _DEGREE_STEPS if (high - low) / s <= most), _DEGREE_STEPS[-1])
        marks = [k * step for k in range(ceil(low / step), floor(high / step) + 1)]
        return [(m if self.unit == "C" else c_from_f(m), figure(m, 0)) for m in marks]


def degree_scale(values_c: list[float], *, top: float, bottom: float, unit: Unit) -> DegreeScale:
    """A scale that holds all values with a little room, at least 6 °C high."""
    low, high = (min(values_c), max(values_c)) if values_c else (0.0, 10.0)
    room = max(0.08 * (high - low), (6.0 - (high - low)) / 2, 0.8)
    return DegreeScale(low - room, high + room, top, bottom, unit)


def spread(wanted: list[float], *, apart: float, low: float, high: float) -> list[float]:
    """Positions as near as possible to those wanted, in the same order, at least `apart` from each other."""
    order = sorted(range(len(wanted)), key=lambda k: wanted[k])
    placed = [min(max(wanted[k], low), high) for k in order]
    for k in range(1, len(placed)):
        placed[k] = max(placed[k], placed[k - 1] + apart)
    overflow = placed[-1] - high if placed else 0.0
    if overflow > 0:
        placed[-1] = high
        for k in range(len(placed) - 2, -1, -1):
            placed[k] = min(placed[k], placed[k + 1] - apart)
    found = [0.0] * len(wanted)
    for k, y in zip(order, placed, strict=True):
        found[k] = y
    return found
