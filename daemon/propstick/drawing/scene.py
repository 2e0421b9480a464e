"""What a picture of a night shows, gathered beforehand. °C and UTC seconds; the picture converts."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from propstick.drawing.scales import figure
from propstick.news import CoverTold
from propstick.records import Alarm, LidOpening, NightForecast, Notice
from propstick.times import clock_text
from propstick.units import FloatArray, IntArray, Unit, shown


@dataclass(frozen=True)
class Line:
    """A curve: rows [UTC seconds], values [°C], shape (m,). Broken where rows lie more than `gap_s` apart."""

    row_s: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    value_c: FloatArray = field(default_factory=lambda: np.empty(0))
    gap_s: float = 900.0

    def __len__(self) -> int:
        return int(self.row_s.shape[0])


@dataclass(frozen=True, kw_only=True)
class BoxNight:
    """One panel.

    Attributes:
        name: The box, or `outside` where there is none.
        frost_c, heat_c: Limits in force; None where the place has none.
        worst_c, worst_s: The lowest (or, in a stretch by day, highest) air; None without a reading.
        lids: Openings in order; the first may lie before the picture. Empty: nothing is known.
        covers: Blanket on or off, in order.
    """

    name: str
    air: Line = field(default_factory=Line)
    soil: Line = field(default_factory=Line)
    frost_c: float | None = None
    heat_c: float | None = None
    worst_c: float | None = None
    worst_s: int | None = None
    worst_is: str = "lowest"
    forecasts: tuple[NightForecast, ...] = ()
    lids: tuple[LidOpening, ...] = ()
    covers: tuple[CoverTold, ...] = ()
    alarms: tuple[Alarm, ...] = ()
    otherwise: Line = field(default_factory=Line)
    otherwise_words: str = ""
    """Air as it would have been with another lid or cover, and how that would have been: "closed"."""


@dataclass(frozen=True, kw_only=True)
class NightScene:
    """The whole picture.

    Attributes:
        title: Such as "Night of 12 April 2026".
        sunset_s, sunrise_s: None where the sun is not known.
        notices: What was sent, whatever box it is about.
        twelve_hour, decimal_sign: As the person reads clocks and figures.
    """

    title: str
    site: str
    start_s: int
    end_s: int
    unit: Unit = "C"
    zone: str | None = None
    sunset_s: int | None = None
    sunrise_s: int | None = None
    outside: Line = field(default_factory=Line)
    boxes: tuple[BoxNight, ...] = ()
    notices: tuple[Notice, ...] = ()
    twelve_hour: bool = False
    decimal_sign: str = "."

    def degrees(self, value_c: float) -> str:
        """`−1.2 °C`, in the person's unit, with a true minus sign."""
        return f"{figure(shown(value_c, self.unit), 1)} °{self.unit}".replace(".", self.decimal_sign)

    def clock(self, time_s: float) -> str:
        """A time of day on the clock there."""
        return clock_text(time_s, self.zone, twelve_hour=self.twelve_hour)
