"""The frost equation of FAO: tonight's minimum from air (and dew point) two hours after sunset.

A plain method to beat. It is meant for clear calm nights; here it is used on all nights and refitted
on the site's own. Sums are carried, not nights, so that a season costs nothing to remember.

Source: Snyder, de Melo-Abreu (2005), Frost protection: fundamentals, practice and economics, FAO
Environment and Natural Resources Series 10, chapter 5. The two-step fit (first minimum on air, then
the residuals on dew point) follows the book as quoted by the R package `frost`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.units import FloatArray


@dataclass(frozen=True)
class FrostEquation:
    """Minimum = air_slope x air + dew_slope x dew point + constant [°C]; arrays of one shape."""

    air_slope: FloatArray
    dew_slope: FloatArray
    constant_c: FloatArray

    def minimum_c(self, air_c: FloatArray, dew_point_c: FloatArray | float = 0.0) -> FloatArray:
        """The forecast minimum [°C]. `dew_point_c` counts only where the dew slope is not 0."""
        dew_c = np.where(self.dew_slope == 0.0, 0.0, dew_point_c)
        return self.air_slope * air_c + self.dew_slope * dew_c + self.constant_c


def no_nights(shape: tuple[int, ...]) -> FloatArray:
    """Sums before the first night, shape (*shape, 6): n, T, m, TT, Tm, mm."""
    return np.zeros((*shape, 6))


def add_night(sums: FloatArray, air_c: FloatArray, minimum_c: FloatArray) -> FloatArray:
    """Sums with one night more; where either value is NaN the sums stay as they were."""
    known = ~(np.isnan(air_c) | np.isnan(minimum_c))
    t, m = np.where(known, air_c, 0.0), np.where(known, minimum_c, 0.0)
    return sums + np.stack([known * 1.0, t, m, t * t, t * m, m * m], axis=-1)


def equation_of(sums: FloatArray) -> FrostEquation:
    """Least squares of the minimum on air alone; NaN before two different nights."""
    n, t, m, tt, tm = (sums[..., k] for k in range(5))
    spread = n * tt - t * t
    usable = (n >= 2.0) & (spread > 1e-9 * np.maximum(n * tt, 1.0))
    slope = np.where(usable, (n * tm - t * m) / np.where(usable, spread, 1.0), np.nan)
    constant = (m - slope * t) / np.where(usable, n, np.nan)
    return FrostEquation(air_slope=slope, dew_slope=np.zeros_like(slope), constant_c=constant)


def fit(air_c: FloatArray, minimum_c: FloatArray, dew_point_c: FloatArray | None = None) -> FrostEquation:
    """FAO's two steps over whole nights: minimum on air, then its residuals on dew point, added.

    The joint least squares fit is the better one; this is the published way.

    Args:
        air_c, minimum_c, dew_point_c: Shape (nights,) [°C].
    """
    air_c, minimum_c = np.asarray(air_c, dtype=np.float64), np.asarray(minimum_c, dtype=np.float64)
    air_slope, constant = _line(air_c, minimum_c)
    dew_slope = 0.0
    if dew_point_c is not None:
        residual = minimum_c - (air_slope * air_c + constant)
        dew_slope, residual_constant = _line(np.asarray(dew_point_c, dtype=np.float64), residual)
        constant += residual_constant
    return FrostEquation(np.array(air_slope), np.array(dew_slope), np.array(constant))


def _line(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    dx = x - x.mean()
    slope = float((dx * (y - y.mean())).sum() / (dx * dx).sum())
    return slope, float(y.mean() - slope * x.mean())
