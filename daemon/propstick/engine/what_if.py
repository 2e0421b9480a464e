"""What the night would have been with the lid, or a cover, otherwise: the difference of two runs.

The box's model is run twice through the outside air and soil that were measured, with the sun that was
inferred: once with the lid as it was, once as asked. Only the difference is believed, and added to what
was measured: errors that both runs share drop out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine.paths import SOIL_FOLLOWS_PER_MIN
from propstick.engine.trace import COVER_LOSS, COVER_SUN, Trace
from propstick.physics.box import SUN_GAIN_C_PER_MIN, BoxRates, air_exchange, step
from propstick.units import FloatArray, IntArray

_ERROR_SHARE = 0.6
_ERROR_LEAST_C = 0.4
"""90 % half-width: a floor and a share of the difference; from invented boxes."""
_BARE_BED_C_MIN = 0.06
"""Night cooling of the soil surface where no glass is above it, lid fully open. 60 W/m² net to a clear
sky on 1 cm of soil would be 0.16 °C/min; a lid bares part of the bed, skies are not always clear. Fitted
on invented boxes."""
_DARK_W_M2 = 100.0
_BELIEVED = 0.66
_USUAL_GAIN_C = 0.5
_USUAL_WITHIN_MIN = 60.0
"""At night a lid's effect is small, and the two runs exaggerate what differs from box to box: they are
believed so far, and for the rest a lid that is shut gains what it usually does. Regression on 82 nights of
invented boxes under weather measured at Davos and Tharandt."""
_SOIL_RETURNS_PER_MIN = 0.0015
_SAME_OPENING = 0.02


@dataclass(frozen=True)
class WhatIf:
    """What would have been. All °C, one box.

    Attributes:
        time_s: From the moment of the action on, (n,).
        air_c: The curve, NaN where nothing was measured, (n,).
        min_c, low_c, high_c: Its lowest value with a 90 % interval.
        max_c: Its highest value.
        observed_min_c: What was measured in the same stretch.
    """

    time_s: IntArray
    air_c: FloatArray
    min_c: float
    low_c: float
    high_c: float
    max_c: float
    observed_min_c: float


def what_if(
    trace: Trace, box: int, *, at_s: int, opening: float | None = None, cover: float | None = None,
    was: FloatArray | None = None, step_s: int = 60,
) -> WhatIf | None:  # fmt: skip
    """Re-run one box from a moment on with another lid or cover.

    Args:
        trace: The observer's trace of the stretch, at least from `at_s` on.
        box: Column of the box.
        opening: Lid from `at_s` on; None leaves it as it was.
        cover: 1 with the blanket on, 0 without; None leaves it as it was.
        was: Opening as it was, told or estimated, (n,); by default as the observer had it.

    Returns:
        None if the trace has no reading of the box from `at_s` on, or no outside air was known.
    """
    rows = np.flatnonzero(trace.time_s >= at_s)
    if not len(rows) or np.isnan(trace.measured_c[rows, box]).all() or not trace.outside_known[rows].any():
        return None
    lid_was = (trace.lid[:, box] if was is None else np.asarray(was, dtype=float))[rows]
    cover_was = trace.cover[rows, box]
    lids = np.stack([lid_was, lid_was if opening is None else np.full(len(rows), float(opening))], axis=1)
    covers = np.stack([cover_was, cover_was if cover is None else np.full(len(rows), float(cover))], axis=1)
    path = _two_runs(trace, rows, box, lids, covers, step_s / 60.0)
    change = path[:, 1] - path[:, 0]
    if opening is not None:
        change = _believed(change, trace, rows, closes=lids[:, 0] - lids[:, 1], minutes=step_s / 60.0)
    measured = trace.measured_c[rows, box]
    curve = measured + change
    coldest = int(np.nanargmin(curve))
    observed = float(np.nanmin(measured))
    least = float(curve[coldest])
    # No change asked, no doubt: the interval grows with what the action is said to do.
    moved = float(np.abs(change).max())
    half = (
        0.0 if moved == 0.0 else max(_ERROR_LEAST_C * min(1.0, moved), _ERROR_SHARE * abs(least - observed))
    )
    return WhatIf(
        time_s=trace.time_s[rows],
        air_c=curve,
        min_c=least,
        low_c=least - half,
        high_c=least + half,
        max_c=float(np.nanmax(curve)),
        observed_min_c=observed,
    )


def _believed(
    change_c: FloatArray, trace: Trace, rows: IntArray, *, closes: FloatArray, minutes: float
) -> FloatArray:
    """The change of the two runs, by night drawn towards what moving a lid usually does; (n,) [°C].

    Args:
        closes: How much further the lid is shut than it was, (n,).
    """
    dark = np.clip(1.0 - trace.clear_sky_w_m2[rows] / _DARK_W_M2, 0.0, 1.0)
    moved = np.where(np.abs(closes) > _SAME_OPENING, np.sign(closes), 0.0)
    since_min = minutes * np.cumsum(moved != 0.0)
    usual = _USUAL_GAIN_C * moved * -np.expm1(-since_min / _USUAL_WITHIN_MIN)
    return change_c + dark * (1.0 - _BELIEVED) * (usual - change_c) * (moved != 0.0)


def _two_runs(
    trace: Trace, rows: IntArray, box: int, lids: FloatArray, covers: FloatArray, minutes: float
) -> FloatArray:
    """Air of both runs, (n, 2)."""
    rates = BoxRates(*np.exp(trace.theta[rows[0], :, box]))
    exchange = air_exchange(rates, lids) * (1.0 - (1.0 - COVER_LOSS) * covers)
    sun = SUN_GAIN_C_PER_MIN * trace.clear_sky_w_m2[rows] * trace.sun[rows, box]
    warm = sun[:, None] * (1.0 - (1.0 - COVER_SUN) * covers)
    first = rows[0]
    air = np.full(2, trace.air_c[first, box])
    surface = np.full(2, trace.surface_c[first, box])
    # What chill was inferred while the lid stood open is the wind's: take that of nights with it shut.
    chill = np.full(2, trace.chill_slow[first, box])
    bare = _BARE_BED_C_MIN * minutes * lids * (1.0 - covers)
    bare *= (trace.clear_sky_w_m2[rows] < _DARK_W_M2)[:, None]
    soil_shift = 0.0
    path = np.empty((len(rows), 2))
    path[0] = air
    for k in range(1, len(rows)):
        row = rows[k]
        air, surface = step(
            air, surface, rates=rates, exchange=exchange[k], outside_c=trace.outside_c[row],
            soil_c=trace.soil_c[row, box] + np.array([0.0, soil_shift]), sun_c=warm[k], chill_c=chill,
            minutes=minutes,
        )  # fmt: skip
        surface = surface - bare[k]
        # The soil was measured as it was; in the other run it follows its own surface from there.
        follows = SOIL_FOLLOWS_PER_MIN * (surface[1] - surface[0] - soil_shift)
        soil_shift += minutes * (follows - _SOIL_RETURNS_PER_MIN * soil_shift)
        path[k] = air
    return path
