"""What the observer made of some rows: the record that every forecast of the engine reads."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.units import BoolArray, FloatArray, IntArray

LID_BANK = (0.0, 0.1, 0.3, 1.0)
"""Openings at which the parallel copies of the observer hold the lid."""
SUN_USED_W_M2 = 60.0
"""Below this clear-sky sun the box's warmth says nothing about clouds."""
COVER_LOSS = 0.6
COVER_SUN = 0.1
"""Loss and sun left under a mat or blanket; common practice, no source."""


@dataclass(frozen=True)
class Trace:
    """What the observer made of the rows it worked on: n rows, b boxes.

    Attributes:
        index: Which of the given rows each is (rows closer than a minute are thinned), (n,).
        time_s: (n,).
        elevation_deg, azimuth_deg, clear_sky_w_m2: The sun, (n,); NaN, NaN and 0 without a site.
        outside_c: 15-min mean outside, carried over silence; NaN if never known, (n,).
        outside_known: Whether outside air was known in the last half hour, (n,).
        outside_trend_c_min: Its trend over the last 30 min, (n,).
        air_c, surface_c, sun, sun_slow, chill: The model's state after the reading, (n, b).
        error_c: Reading minus model before the reading; 0 where there was none, (n, b).
        bank_error_c: The same for the lid held at each of `LID_BANK`, (n, 4, b).
        bank_sun: Sun index with the lid held there, (n, 4, b).
        soil_c: Soil that drives the surface, (n, b).
        measured_c: Air as read, NaN where silent, (n, b).
        air3_c, air5_c: Mean of the readings of the last 3 and 5 min, NaN where none, (n, b).
        held5_c: What the readings of the last 5 min all reached, NaN where none, (n, b).
        slope5, slope10, slope45: Rise of the readings over these minutes [°C/min], NaN if unknown, (n, b).
        lid, lid_told: Opening used (0 where unknown), and whether it was told, (n, b).
        moved_min: Minutes since the lid was last told to have moved, (n, b).
        known: Whether the box's air was known in the last ten minutes, (n, b).
        doubted: Where something the weather does not explain is at work on the box, (n, b).
        fits: Whether the box behaves as learnt: on the last judged day, in the last hour; not while doubted,
            (n, b).
        night_sd_c: How far a minute is usually off at night, (n, b).
        rounding_sd_c: How far the steps the probe reads in set a minute's change off, (n, b).
        chill_slow: Usual chill of nights with the lid shut [°C/min], (n, b).
        theta: Logarithms of the rates in force, (n, 6, b).
    """

    index: IntArray
    time_s: IntArray
    elevation_deg: FloatArray
    azimuth_deg: FloatArray
    clear_sky_w_m2: FloatArray
    outside_c: FloatArray
    outside_known: BoolArray
    outside_trend_c_min: FloatArray
    air_c: FloatArray
    surface_c: FloatArray
    sun: FloatArray
    sun_slow: FloatArray
    chill: FloatArray
    error_c: FloatArray
    bank_error_c: FloatArray
    bank_sun: FloatArray
    soil_c: FloatArray
    measured_c: FloatArray
    air3_c: FloatArray
    air5_c: FloatArray
    held5_c: FloatArray
    slope5: FloatArray
    slope10: FloatArray
    slope45: FloatArray
    lid: FloatArray
    lid_told: BoolArray
    cover: FloatArray
    moved_min: FloatArray
    known: BoolArray
    doubted: BoolArray
    fits: BoolArray
    night_sd_c: FloatArray
    rounding_sd_c: FloatArray
    chill_slow: FloatArray
    theta: FloatArray

    def __len__(self) -> int:
        return int(self.time_s.shape[0])


def kept_rows(trace: Trace, rows: BoolArray | IntArray) -> Trace:
    """Some rows of a trace."""
    return Trace(**{name: getattr(trace, name)[rows] for name in Trace.__dataclass_fields__})


def joined_trace(parts: list[Trace], *, shifts: list[int] | None = None) -> Trace:
    """Traces laid end to end; `shifts` is added to each one's row numbers."""
    if len(parts) == 1:
        return parts[0]
    names = Trace.__dataclass_fields__
    whole = Trace(**{name: np.concatenate([getattr(p, name) for p in parts]) for name in names})
    if shifts is None:
        return whole
    index = [part.index + shift for part, shift in zip(parts, shifts, strict=True)]
    return replace(whole, index=np.concatenate(index))
