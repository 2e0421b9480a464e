"""Where the sun stands, when it rises and sets, and how bright a cloudless sky would be.

Position after Meeus, Astronomical Algorithms (2nd ed. 1998), chapters 12, 13, 25, low accuracy:
within 0.01° of the full theory between 1950 and 2050, which is a thirtieth of the sun's own width.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.units import FloatArray

RISE_ELEVATION_DEG = -0.833
"""Sun's centre at sunrise: 34' of refraction and 16' of half disc (Meeus ch. 15)."""

HAURWITZ_W_M2 = 1098.0
HAURWITZ_K = 0.059
"""Haurwitz (1945), J. Meteorol. 2, 154, as pvlib carries it; 0.057 is also in circulation, at most
2.1 W/m² apart. The paper itself was not opened."""

_J2000_S = 946_728_000.0
_TT_MINUS_UT_S = 69.0  # 2024; an error of 30 s moves the sun by 0.0004°


@dataclass(frozen=True)
class SunTimes:
    """One day's sun, UTC seconds. `rise_s` and `set_s` are None where it does not cross the horizon.

    Attributes:
        day_length_s: 86,400 in the polar day, 0 in the polar night.
    """

    rise_s: float | None
    noon_s: float
    set_s: float | None
    day_length_s: float


def _equatorial(time_s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sine and cosine of the declination, and the hour angle at Greenwich [rad]."""
    days = (time_s - _J2000_S) / 86_400.0
    t = (days + _TT_MINUS_UT_S / 86_400.0) / 36_525.0
    mean_longitude = 280.46646 + t * (36_000.76983 + 0.0003032 * t)
    anomaly = np.radians(357.52911 + t * (35_999.05029 - 0.0001537 * t))
    centre = (
        (1.914602 - t * (0.004817 + 0.000014 * t)) * np.sin(anomaly)
        + (0.019993 - 0.000101 * t) * np.sin(2.0 * anomaly)
        + 0.000289 * np.sin(3.0 * anomaly)
    )
    node = np.radians(125.04 - 1934.136 * t)
    nutation_deg = -0.00478 * np.sin(node)
    longitude = np.radians(mean_longitude + centre - 0.00569 + nutation_deg)
    obliquity = np.radians(23.43929111 - 0.01300417 * t + 0.00256 * np.cos(node))
    right_ascension = np.arctan2(np.cos(obliquity) * np.sin(longitude), np.cos(longitude))
    sin_declination = np.sin(obliquity) * np.sin(longitude)
    sidereal = np.radians(280.46061837 + 360.98564736629 * days + nutation_deg * np.cos(obliquity))
    hour_angle = np.remainder(sidereal - right_ascension + np.pi, 2.0 * np.pi) - np.pi
    return sin_declination, np.sqrt(1.0 - sin_declination * sin_declination), hour_angle


def solar_position(
    time_s: FloatArray, latitude_deg: float, longitude_deg: float
) -> tuple[FloatArray, FloatArray]:
    """Height of the sun's centre above the horizon, without refraction, and its bearing.

    Args:
        time_s: UTC seconds, any shape.
        latitude_deg: North positive.
        longitude_deg: East positive.

    Returns:
        Elevation and azimuth [°], azimuth clockwise from north in [0, 360), shaped like `time_s`.

    Source:
        Meeus as above. Check: Reda and Andreas (2004), NREL/TP-560-34302, case of 17 October 2003:
        elevation 39.872°, azimuth 194.340°.
    """
    time_s = np.atleast_1d(np.asarray(time_s, dtype=float))
    sin_dec, cos_dec, hour_angle = _equatorial(time_s)
    hour_angle = hour_angle + np.radians(longitude_deg)
    sin_lat, cos_lat = np.sin(np.radians(latitude_deg)), np.cos(np.radians(latitude_deg))
    cos_hour = np.cos(hour_angle)
    sin_elevation = sin_lat * sin_dec + cos_lat * cos_dec * cos_hour
    elevation = np.degrees(np.arcsin(np.clip(sin_elevation, -1.0, 1.0)))
    north = cos_lat * sin_dec - sin_lat * cos_dec * cos_hour
    east = -cos_dec * np.sin(hour_angle)
    return elevation, np.remainder(np.degrees(np.arctan2(east, north)), 360.0)


def clear_sky_w_m2(elevation_deg: FloatArray) -> FloatArray:
    """Sun on level ground under a cloudless sky [W/m²]; 0 with the sun below the horizon.

    Source:
        Haurwitz (1945) with k = 0.059. Check: 642.2 W/m² at 50.11162° from the zenith (pvlib 0.16.1).
    """
    cos_zenith = np.sin(np.radians(elevation_deg))
    up = np.maximum(cos_zenith, 1e-3)
    return np.where(cos_zenith > 1e-3, HAURWITZ_W_M2 * up * np.exp(-HAURWITZ_K / up), 0.0)


def sunrise_sunset(near_noon_s: float, latitude_deg: float, longitude_deg: float) -> SunTimes:
    """Sunrise, solar noon and sunset of the day whose noon lies nearest to the given moment.

    Args:
        near_noon_s: UTC seconds within a few hours of local noon.

    Source:
        Upper edge of the sun on a flat horizon (Meeus ch. 15). Check: 7 h 12 min 57 s and
        18 h 18 min 36 s summer time at Golden, Colorado, 17 October 2003 (astral 3.2).
    """
    longitude = np.radians(longitude_deg)
    noon = np.array([float(near_noon_s)])
    for _ in range(3):
        _, _, hour_angle = _equatorial(noon)
        off_noon = np.remainder(hour_angle + longitude + np.pi, 2.0 * np.pi) - np.pi
        noon = noon - off_noon * (86_400.0 / (2.0 * np.pi))
    crossings = np.array([noon[0], noon[0]])
    sides = np.array([-1.0, 1.0])
    sin_lat, cos_lat = np.sin(np.radians(latitude_deg)), np.cos(np.radians(latitude_deg))
    sin_rise = np.sin(np.radians(RISE_ELEVATION_DEG))
    for _ in range(6):
        sin_dec, cos_dec, hour_angle = _equatorial(crossings)
        cos_hour = (sin_rise - sin_lat * sin_dec) / np.maximum(cos_lat * cos_dec, 1e-9)
        wanted = sides * np.arccos(np.clip(cos_hour, -1.0, 1.0))
        here = np.remainder(hour_angle + longitude + np.pi, 2.0 * np.pi) - np.pi
        # At midnight the angle jumps from π to -π: take the turn that is nearer.
        missing = np.remainder(wanted - here + np.pi, 2.0 * np.pi) - np.pi
        crossings = crossings + missing * (86_400.0 / (2.0 * np.pi))
    if np.abs(cos_hour).max() > 1.0:
        above = bool(cos_hour.min() < -1.0)
        return SunTimes(None, float(noon[0]), None, 86_400.0 if above else 0.0)
    rise, sunset = float(crossings[0]), float(crossings[1])
    return SunTimes(rise, float(noon[0]), sunset, sunset - rise)
