"""What the night would have been with the lid, or a cover, otherwise: the difference of two runs.

The box's model is run twice through the outside air and soil that were measured, with the sun that was
inferred: once with the lid as it was, once as asked. Only the difference is believed, and added to what
was measured: errors that both runs share drop out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine.observer import COVER_LOSS, COVER_SUN, Trace
from propstick.physics.box import SUN_GAIN_C_PER_MIN, BoxRates, air_exchange, step
from propstick.units import FloatArray, IntArray

_ERROR_SHARE = 0.30
_ERROR_LEAST_C = 0.25
"""90 % half-width: a floor and a share of the difference; from invented boxes."""
Z_90 = 1.645


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
    dark = trace.clear_sky_w_m2[rows] <= 0.0
    chills = trace.chill[rows, box]
    # The chill while the lid stood open is the wind's, not the sky's: take its mean over the stretch.
    chill = np.full(2, float(np.mean(chills[dark])) if dark.any() else float(chills[0]))
    path = np.empty((len(rows), 2))
    path[0] = air
    for k in range(1, len(rows)):
        row = rows[k]
        air, surface = step(
            air, surface, rates=rates, exchange=exchange[k], outside_c=trace.outside_c[row],
            soil_c=trace.soil_c[row, box], sun_c=warm[k], chill_c=chill, minutes=minutes,
        )  # fmt: skip
        path[k] = air
    return path
