"""Water vapour in air, and the warmth a clear sky sends down."""

from __future__ import annotations

import numpy as np

from propstick.errors import InputError
from propstick.units import KELVIN_AT_0_C, FloatArray

STEFAN_BOLTZMANN_W_M2_K4 = 5.670374419e-8
"""Exact since 2019 by the definition of the kelvin (CODATA 2018)."""

_A = 17.27
_B_C = 237.3
_ES0_KPA = 0.6108


def saturation_vapour_kpa(air_c: FloatArray) -> FloatArray:
    """Vapour pressure of air that can hold no more water.

    Over water, not ice: below 0 °C it reads high (4.8 % at -5 °C, 9.9 % at -10 °C).

    Args:
        air_c: Air temperature [°C], any shape. NaN stays NaN.

    Raises:
        InputError: any value at or below -237.3 °C, where the formula divides by zero.

    Source:
        Allen, Pereira, Raes, Smith (1998), FAO Irrigation and Drainage Paper 56, Eq. 11.
        Check: Example 3 gives 1.705 kPa at 15.0 °C.
    """
    air_c = np.asarray(air_c, dtype=float)
    if np.any(air_c <= -_B_C):
        raise InputError(f"air temperature: got {np.nanmin(air_c)} °C, expected above -237.3 °C")
    return _ES0_KPA * np.exp(_A * air_c / (air_c + _B_C))


def vapour_kpa(air_c: FloatArray, humidity_pct: FloatArray) -> FloatArray:
    """Vapour pressure of air of that relative humidity [kPa]. FAO-56 Eq. 10 turned round; Example 5."""
    return saturation_vapour_kpa(air_c) * np.asarray(humidity_pct, dtype=float) / 100.0


def dew_point_c(vapour_pressure_kpa: FloatArray) -> FloatArray:
    """Temperature at which air of that vapour pressure turns to dew; NaN where there is no vapour.

    The exact inverse of Eq. 11: FAO's own printed inverse is rounded and 0.003–0.007 °C off.
    """
    vapour = np.asarray(vapour_pressure_kpa, dtype=float)
    x = np.log(np.where(vapour > 0.0, vapour, np.nan) / _ES0_KPA)
    return _B_C * x / (_A - x)


def dew_point_of_air_c(air_c: FloatArray, humidity_pct: FloatArray) -> FloatArray:
    """Dew point of air of that temperature and relative humidity [°C]."""
    return dew_point_c(vapour_kpa(air_c, humidity_pct))


def wet_bulb_vapour_kpa(
    wet_c: FloatArray, dry_c: FloatArray, *, pressure_kpa: float = 101.3, coefficient: float = 0.000662
) -> FloatArray:
    """Vapour pressure from a pair of wet and dry thermometers [kPa].

    Args:
        coefficient: 0.000662 aspirated, 0.0008 in a light draught, 0.0012 indoors [1/°C].

    Source:
        FAO-56 Eq. 15–16. Check: Example 4 gives 1.91 kPa at 19.5 and 25.6 °C, 87.9 kPa.
    """
    wet_c, dry_c = np.asarray(wet_c, dtype=float), np.asarray(dry_c, dtype=float)
    return saturation_vapour_kpa(wet_c) - coefficient * pressure_kpa * (dry_c - wet_c)


def sky_emissivity(air_c: FloatArray, vapour_pressure_kpa: FloatArray) -> FloatArray:
    """Share of a black body's warmth that a cloudless sky sends down.

    Source:
        Brutsaert (1975), Water Resour. Res. 11, 742: 1.24 (e/T)^(1/7), e in hPa, T in K (form from
        memory; equal to 0.2 % to the form in Campbell and Norman). Formulas of this kind differ among
        themselves by 8–11 points at the same air.
    """
    kelvin = np.asarray(air_c, dtype=float) + KELVIN_AT_0_C
    vapour_hpa = 10.0 * np.asarray(vapour_pressure_kpa, dtype=float)
    return 1.24 * np.power(np.maximum(vapour_hpa, 0.0) / kelvin, 1.0 / 7.0)


def sky_loss_w_m2(surface_c: FloatArray, air_c: FloatArray, vapour_pressure_kpa: FloatArray) -> FloatArray:
    """Net warmth that a black surface sends to a cloudless sky [W/m²], positive when it loses."""
    surface_k = np.asarray(surface_c, dtype=float) + KELVIN_AT_0_C
    air_k = np.asarray(air_c, dtype=float) + KELVIN_AT_0_C
    down = sky_emissivity(air_c, vapour_pressure_kpa) * np.power(air_k, 4.0)
    return STEFAN_BOLTZMANN_W_M2_K4 * (np.power(surface_k, 4.0) - down)
