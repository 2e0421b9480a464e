"""Water vapour in air."""

from __future__ import annotations

import numpy as np

from propstick.errors import InputError
from propstick.units import FloatArray

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
