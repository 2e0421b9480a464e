"""What the observer carries from row to row, how it begins, and at which hour it learns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine.filter import AIR, COPIES, SUN, SUN_SLOW
from propstick.engine.fit import FitState, start_fit
from propstick.engine.laying import step_used_s
from propstick.engine.lessons import OpenBlock, no_rows
from propstick.engine.windows import Window, start_window
from propstick.garden import Box, Site
from propstick.units import FloatArray

DAY_S = 86_400
WINDOW_MIN = 60
"""How much of the past is carried for means and slopes."""
_NIGHT_SD_C = 0.07
_LEARN_LOCAL_HOUR = 2.0


@dataclass(frozen=True)
class ObserverState:
    """All that is carried from row to row.

    Attributes:
        step_s: Seconds between the rows that are worked on, at least 60.
        time_s: Row last worked on; None before the first.
        nodes: Air, surface, sun index, its slow mean, chill of every copy, shape (5, 11, b).
        chill_slow: Mean night chill of the copy with the lid shut [°C/min], shape (b,).
        soil_c: Soil that drives the surface, shape (b,).
        outside_c: Last known outside air; NaN before the first.
        silent_min: Minutes since each box's air, then outside air, was last known, shape (b + 1,).
        snapped_min: Minutes since each box spoke again after a silence, shape (b,).
        moved_min: Minutes since each lid last moved, shape (b,).
        lid, cover: As last known, shape (b,).
        error_tail: Squared errors of the last hour, (h, b).
        night_sd_c: How far a minute is usually off at night, (b,).
        night_squares, night_rows: Today's evidence for it, (b,).
        grain_c: Smallest change of the air from row to row so far; infinite before the first, (b,).
        fit: What is learnt.
        block: Errors not yet learnt from.
        window: The last hour of rows.
    """

    step_s: int
    time_s: int | None
    nodes: FloatArray
    chill_slow: FloatArray
    soil_c: FloatArray
    outside_c: float
    silent_min: FloatArray
    snapped_min: FloatArray
    moved_min: FloatArray
    lid: FloatArray
    cover: FloatArray
    error_tail: FloatArray
    night_sd_c: FloatArray
    night_squares: FloatArray
    night_rows: FloatArray
    grain_c: FloatArray
    fit: FitState
    block: OpenBlock
    window: Window


def learns_at_s(site: Site) -> int:
    """Second of the UTC day at which yesterday is learnt from: about two in the morning there."""
    longitude = site.longitude or 0.0
    return int(round((_LEARN_LOCAL_HOUR - longitude / 15.0) % 24.0) % 24) * 3600


def start(boxes: tuple[Box, ...], step_s: int = 60) -> ObserverState:
    """Day one: nothing seen, the prior of each box."""
    b = len(boxes)
    step_s = step_used_s(step_s)
    nodes = np.zeros((5, COPIES, b))
    nodes[AIR:SUN] = 10.0
    nodes[SUN : SUN_SLOW + 1] = 0.6
    return ObserverState(
        step_s=step_s,
        time_s=None,
        nodes=nodes,
        chill_slow=np.zeros(b),
        soil_c=np.full(b, np.nan),
        outside_c=float("nan"),
        silent_min=np.full(b + 1, 1e6),
        snapped_min=np.full(b, 1e6),
        moved_min=np.full(b, 1e6),
        lid=np.zeros(b),
        cover=np.zeros(b),
        error_tail=np.zeros((WINDOW_MIN * 60 // step_s, b)),
        night_sd_c=np.full(b, _NIGHT_SD_C),
        night_squares=np.zeros(b),
        night_rows=np.zeros(b),
        grain_c=np.full(b, np.inf),
        fit=start_fit(boxes),
        block=no_rows(b),
        window=start_window(WINDOW_MIN * 60 // step_s, b),
    )
