"""Water a box has lost since it was last watered: no rain falls under glass.

FAO-56 with the wind left out: what evaporates is what the sun's energy can lift. Sun is reckoned from
the day's swing outside (Eq. 50), the glass takes its part, the spot's shade its own. The interval is
wide and says so; a moisture probe knows better.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from propstick.garden import Glazing
from propstick.growing.light import DIFFUSE_LIGHT, extraterrestrial_mj, sun_from_swing_mj
from propstick.physics.air import saturation_vapour_kpa
from propstick.units import FloatArray

LATENT_MM_PER_MJ = 0.408
"""FAO-56 Eq. 20: 1 mm/day = 2.45 MJ/m²."""
ALBEDO = 0.23
LOW_SHARE, HIGH_SHARE = 0.5, 1.3
"""From what the sun could lift: bare bed or seedlings in damp air, up to a full stand with the lid open.
FAO-56 Table 12 has crop coefficients of 0.7 at first and 0.9 (radish) to 1.05 at full stand for small
vegetables; the rest is the sun's uncertainty and the lid's. Common practice, no source."""
LOAM_MM_M = 158.0
"""Water a metre of loam holds for plants: 1.5 to 2.3 inches a foot, 125 to 192 mm (University of California,
Davis, drought pages: very fine sandy loams, loams, silt loams); sandy loams 104 to 146."""
ROOTS_M = 0.15
"""How deep seedlings draw. Ours; FAO-56 Table 22 has 0.3 to 0.5 m for lettuce and radish full-grown."""
DEPLETION = 0.30
"""Of that water, how much may be gone before the crop feels it: FAO-56 Table 22 for lettuce, radish, onion at
5 mm a day; spinach and celery 0.20, the cabbages 0.45."""
SEEDBED_MM = 4.0
"""What the top 2.5 cm of loam hold, from the same figure; the depth is ours."""
UNTOLD_HOLDS = 2.5
"""Beyond so many times what the bed holds somebody has watered and not said so."""


def holds_mm(depletion: float, loss_mm: float) -> float:
    """Water that seedlings can draw before they feel it [mm].

    Args:
        depletion: The crop's share at 5 mm a day.
        loss_mm: What it loses a day: where little is asked of the roots, more of it can be had.

    Source:
        FAO-56 Eq. 83, and the note to Table 22: p = p(table) + 0.04 (5 - ETc), 0.1 to 0.8.
    """
    share = min(max(depletion + 0.04 * (5.0 - loss_mm), 0.1), 0.8)
    return LOAM_MM_M * ROOTS_M * share


def vapour_slope_kpa(air_c: FloatArray) -> FloatArray:
    """Slope of the saturation vapour pressure [kPa/°C]. FAO-56 Eq. 13; Example 17: 0.246 at 30.2 °C."""
    air_c = np.asarray(air_c, dtype=float)
    return 4098.0 * saturation_vapour_kpa(air_c) / (air_c + 237.3) ** 2


def psychrometric_kpa(pressure_kpa: float = 101.3) -> float:
    """Psychrometric constant [kPa/°C]. FAO-56 Eq. 8; Example 2: 0.054 at 81.8 kPa."""
    return 0.000665 * pressure_kpa


def reference_loss_mm(
    net_mj: FloatArray,
    air_c: FloatArray,
    *,
    wind_m_s: float = 0.0,
    deficit_kpa: FloatArray | float = 0.0,
    gamma_kpa: float | None = None,
    soil_mj: float = 0.0,
) -> FloatArray:
    """Water that grass, or a bed without wind, gives off [mm a day].

    Without wind the second term falls away: the sun's energy alone, and no humidity is needed.

    Source:
        FAO-56 Eq. 6. Check: Example 17 gives 5.72 mm (2 m/s), Example 18 3.9 mm (2.078 m/s).
    """
    gamma = psychrometric_kpa() if gamma_kpa is None else gamma_kpa
    slope = vapour_slope_kpa(air_c)
    by_wind = gamma * 900.0 / (np.asarray(air_c) + 273.0) * wind_m_s * deficit_kpa
    by_sun = LATENT_MM_PER_MJ * slope * (np.asarray(net_mj, dtype=float) - soil_mj)
    return (by_sun + by_wind) / (slope + gamma * (1.0 + 0.34 * wind_m_s))


def box_loss_mm(
    day_of_year: FloatArray,
    *,
    outside_high_c: FloatArray,
    outside_low_c: FloatArray,
    inside_mean_c: FloatArray,
    latitude_deg: float,
    glazing: Glazing = "glass",
    spot_share: float = 1.0,
) -> FloatArray:
    """Water the sun could lift from a box on each day [mm], shape (d,); NaN where air is unknown.

    Args:
        spot_share: Share of a cloudless day's sun that reaches the spot (`spots.spot_day`).
    """
    above = extraterrestrial_mj(latitude_deg, day_of_year)
    sun = sun_from_swing_mj(above, outside_high_c, outside_low_c)
    # Glass lets hardly any of the bed's own radiation out: the loss to the sky is left away.
    net = (1.0 - ALBEDO) * DIFFUSE_LIGHT[glazing] * spot_share * sun
    return reference_loss_mm(net, inside_mean_c)


@dataclass(frozen=True, kw_only=True)
class WaterLost:
    """Water lost since a day [mm = litres a square metre].

    Attributes:
        since: The last watering, or the sowing where none was told.
        was_told: Whether a watering was told at all.
        is_due: The middle has reached what the bed holds.
        share_known: Of the days, how many had temperatures.
    """

    since: date
    was_told: bool
    lost_mm: float
    low_mm: float
    high_mm: float
    holds_mm: float
    share_known: float

    @property
    def is_due(self) -> bool:
        """Whether to look and water."""
        return self.lost_mm >= self.holds_mm

    def words(self) -> str:
        """The reminder, or how things stand."""
        if not self.was_told and self.lost_mm > UNTOLD_HOLDS * self.holds_mm:
            return f"no watering told since {self.since:%-d %B}: it cannot be reckoned how dry the bed is"
        since = f"since {self.since:%-d %B}" + ("" if self.was_told else ", if it was not watered")
        low, high = f"{self.low_mm:.0f}", f"{self.high_mm:.0f}"
        interval = f" ({low} to {high})" if low != high else ""
        state = f"about {self.lost_mm:.0f} mm lost{interval} {since}"
        return f"look whether it is dry: {state}" if self.is_due else state

    def to_json(self) -> dict[str, Any]:
        """For the API."""
        return {
            "since": self.since.isoformat(),
            "was_told": self.was_told,
            "lost_mm": round(self.lost_mm, 1),
            "low_mm": round(self.low_mm, 1),
            "high_mm": round(self.high_mm, 1),
            "holds_mm": round(self.holds_mm, 1),
            "is_due": self.is_due,
            "words": self.words(),
        }


@dataclass(frozen=True, kw_only=True)
class Moisture:
    """What a moisture probe says, in place of any estimate [% of its own scale]."""

    now_pct: float
    limit_pct: float
    was_told: bool = True

    @property
    def is_due(self) -> bool:
        """Whether to water."""
        return self.now_pct < self.limit_pct

    def words(self) -> str:
        """The reminder, or how things stand."""
        state = f"its moisture probe says {self.now_pct:.0f} %, limit {self.limit_pct:.0f} %"
        return f"dry: {state}" if self.is_due else state

    def to_json(self) -> dict[str, Any]:
        """For the API."""
        return {
            "moisture_pct": round(self.now_pct, 1),
            "limit_pct": self.limit_pct,
            "is_due": self.is_due,
            "words": self.words(),
        }


def water_lost(
    daily_mm: FloatArray,
    *,
    since: date,
    was_told: bool,
    has_seedlings: bool = True,
    depletion: float = DEPLETION,
) -> WaterLost | None:
    """What was lost over these days; days without temperatures count as the mean of the others.

    None without any known day.
    """
    known = ~np.isnan(daily_mm)
    if not known.any():
        return None
    a_day = float(daily_mm[known].mean())
    total = a_day * len(daily_mm)
    return WaterLost(
        since=since,
        was_told=was_told,
        lost_mm=total * 0.5 * (LOW_SHARE + HIGH_SHARE),
        low_mm=total * LOW_SHARE,
        high_mm=total * HIGH_SHARE,
        holds_mm=holds_mm(depletion, a_day) if has_seedlings else SEEDBED_MM,
        share_known=float(known.mean()),
    )
