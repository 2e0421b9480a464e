"""Physical constants and conversions, each with its source."""

from __future__ import annotations

from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
FlagArray = NDArray[np.uint16]

Unit = Literal["C", "F"]
_Number = TypeVar("_Number", float, FloatArray)

KELVIN_AT_0_C = 273.15
"""Exact by definition of the degree Celsius (SI brochure, 9th ed.)."""


def c_from_f(temperature_f: _Number) -> _Number:
    """Temperature in °C; exact by definition of the degree Fahrenheit (NIST SP 811, B.8)."""
    return (temperature_f - 32.0) / 1.8


def f_from_c(temperature_c: _Number) -> _Number:
    """Temperature in °F; exact by definition of the degree Fahrenheit (NIST SP 811, B.8)."""
    return temperature_c * 1.8 + 32.0


def difference_c_from_f(difference_f: _Number) -> _Number:
    """A difference of temperatures in K (= °C) from one in °F: the offset of 32 must not enter."""
    return difference_f / 1.8


def shown(temperature_c: float, unit: Unit) -> float:
    """A temperature in the unit its reader thinks in."""
    return temperature_c if unit == "C" else f_from_c(temperature_c)


def shown_difference(difference_c: float, unit: Unit) -> float:
    """A temperature difference in the unit its reader thinks in."""
    return difference_c if unit == "C" else difference_c * 1.8
