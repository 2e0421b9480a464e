"""Light of a day: above the atmosphere, on the ground under a clear sky, and as the air's swing tells it.

Energy is counted in MJ/m² a day, light that plants use in mol/m² a day (the daily light integral).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from propstick.units import FloatArray

SOLAR_MJ_M2_MIN = 0.0820
INLAND = 0.16
"""FAO-56 Eq. 50; 0.19 on a coast."""
CLEAR = 0.75
"""Of the sun above the atmosphere, on the ground under a clear sky at sea level. FAO-56 Eq. 37."""
DIFFUSE_LIGHT = {"glass": 0.75, "twin-wall": 0.78, "film": 0.85, "double-glass": 0.62}
"""Sun let through. Glass 0.732 to 0.765 and double glass 0.619 calculated by a window program; the
others common practice."""
MOL_PER_MJ = 7.058 / 3.6
"""Light in mol for each MJ of sun: 7.058 mol/kWh turned a map of the sun into the map of daily light
integrals that growers' figures stand on (Logan, Sams and Faust 2016, American Meteorological
Society, paper 242, abstract). 2.114 in Britton and Dodd (1976) as two R packages carry it, 2.3 in
`bigleaf` 0.8.2: up to a sixth more, so light is never said closer than to the whole mol."""
SALAD_MOL = 12.0
"""A day, from which leafy greens are advised to grow under glass (Jayalath and others, Plants 2024, 13,
652, who quote others)."""
LIGHT_D = 10
"""The swing of one day says little of its sun (half to twice as much), that of ten days enough."""
LIGHT_LOW, LIGHT_HIGH = 0.8, 1.4
"""Measured light as a share of what ten days' swing says. It held 67 of 74 means of spring at Davos (2013 to
2017, middle 1.12) and 6 of 8 at Tharandt (1998, middle 1.00)."""


def relative_distance(day_of_year: FloatArray) -> FloatArray:
    """Inverse relative distance from the sun. FAO-56 Eq. 23; Example 8: 0.985 on day 246."""
    return 1.0 + 0.033 * np.cos(2.0 * np.pi * np.asarray(day_of_year, dtype=float) / 365.0)


def declination_rad(day_of_year: FloatArray) -> FloatArray:
    """Solar declination. FAO-56 Eq. 24; Example 8: 0.120 rad on day 246."""
    return 0.409 * np.sin(2.0 * np.pi * np.asarray(day_of_year, dtype=float) / 365.0 - 1.39)


def sunset_angle_rad(latitude_deg: float, day_of_year: FloatArray) -> FloatArray:
    """Sunset hour angle. FAO-56 Eq. 25; Example 8: 1.527 rad at 20° S on day 246."""
    cosine = -np.tan(np.radians(latitude_deg)) * np.tan(declination_rad(day_of_year))
    return np.arccos(np.clip(cosine, -1.0, 1.0))


def extraterrestrial_mj(latitude_deg: float, day_of_year: FloatArray) -> FloatArray:
    """Sun above the atmosphere on a level square metre [MJ/m² a day].

    Source:
        FAO-56 Eq. 21. Check: Example 8 gives 32.2 at 20° S on day 246, Example 18 41.09 at 50.80° N on 187.
    """
    phi, delta = np.radians(latitude_deg), declination_rad(day_of_year)
    sunset = sunset_angle_rad(latitude_deg, day_of_year)
    height = sunset * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.sin(sunset)
    return 24.0 * 60.0 / np.pi * SOLAR_MJ_M2_MIN * relative_distance(day_of_year) * height


def sun_from_swing_mj(
    above_mj: FloatArray, high_c: FloatArray, low_c: FloatArray, *, coefficient: float = INLAND
) -> FloatArray:
    """Sun on the ground from how far the air swings outside [MJ/m² a day], at most `CLEAR` of `above_mj`.

    Source:
        FAO-56 Eq. 50, limited by Eq. 37 at sea level. Check: Example 15 gives 22.3 at 26.6 and 14.8 °C
        with 40.6 above.
    """
    swing = np.maximum(np.asarray(high_c, dtype=float) - np.asarray(low_c, dtype=float), 0.0)
    return np.minimum(coefficient * np.sqrt(swing) * above_mj, CLEAR * above_mj)


@dataclass(frozen=True, kw_only=True)
class SpotLight:
    """Light on a spot [mol/m² a day].

    Attributes:
        clear_mol: On a cloudless day now, outside of any box.
        lately_mol: A day's mean of late, under the box's glass where one stands; None without outside air.
        low_mol, high_mol: The interval of that mean.
        days: Over which it was taken.
        is_under_glass: Whether a box stands there.
    """

    clear_mol: float
    lately_mol: float | None = None
    low_mol: float | None = None
    high_mol: float | None = None
    days: int = 0
    is_under_glass: bool = False

    def words(self) -> str:
        """What came of late, with its interval; else what a cloudless day brings."""
        if self.lately_mol is None:
            return f"about {self.clear_mol:.0f} mol/m² of light on a cloudless day"
        glass = " under the glass" if self.is_under_glass else ""
        return (
            f"about {self.lately_mol:.0f} mol/m² of light a day{glass} of late "
            f"({self.low_mol:.0f} to {self.high_mol:.0f})"
        )

    def to_json(self) -> dict[str, Any]:
        """For the API."""
        return {
            "clear_day_mol_m2": round(self.clear_mol),
            "lately_mol_m2": None if self.lately_mol is None else round(self.lately_mol),
            "lately_low_mol_m2": None if self.low_mol is None else round(self.low_mol),
            "lately_high_mol_m2": None if self.high_mol is None else round(self.high_mol),
            "days": self.days,
            "is_under_glass": self.is_under_glass,
        }


def spot_light(
    day_of_year: FloatArray,
    *,
    latitude_deg: float,
    share: float,
    high_c: FloatArray,
    low_c: FloatArray,
    through_glass: float | None = None,
) -> SpotLight:
    """Light on a spot over these days, the last of them today.

    Args:
        share: Of the light of an open place that reaches the spot.
        high_c, low_c: Of each day's air outside; NaN where it was not measured. Fewer than half of the
            days say nothing.
        through_glass: What the glazing lets through; None where no box stands.
    """
    above = extraterrestrial_mj(latitude_deg, day_of_year)
    sun = sun_from_swing_mj(above, high_c, low_c)
    known = ~np.isnan(sun)
    clear = float(CLEAR * above[-1]) * share * MOL_PER_MJ
    if known.sum() < 0.5 * LIGHT_D:
        return SpotLight(clear_mol=clear)
    let_in = 1.0 if through_glass is None else through_glass
    lately = float(sun[known].mean()) * share * let_in * MOL_PER_MJ
    return SpotLight(
        clear_mol=clear, lately_mol=lately, low_mol=LIGHT_LOW * lately, high_mol=LIGHT_HIGH * lately,
        days=int(known.sum()), is_under_glass=through_glass is not None,
    )  # fmt: skip
