"""How fast air and soil rise, from the value one window ago; the window is carried from block to block."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine.layout import Layout
from propstick.garden import OUTSIDE
from propstick.units import BoolArray, FloatArray

AIR_WINDOW_S = 900
SOIL_WINDOW_S = 3600


@dataclass(frozen=True)
class TrendMemory:
    """The last rows of every place: air and soil of the boxes, then of the open ground.

    Attributes:
        step_s: The grid these rows lie on.
        places: (box, place) of each column.
        rows: Shape (w, k); the last row is the newest.
    """

    step_s: int
    places: tuple[tuple[str, str], ...]
    rows: FloatArray


@dataclass(frozen=True)
class Trends:
    """Rise of each place over its window.

    Attributes:
        air_c_per_h, soil_c_per_h: Shape (n, b + 1), the open ground last.
        air_window_s: The window of each box's air, shape (b + 1,): 15 minutes, or the probe's own
            interval where that is longer.
    """

    air_c_per_h: FloatArray
    soil_c_per_h: FloatArray
    air_window_s: FloatArray


def place_names(boxes: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """The columns of the memory, air first."""
    grounds = (*boxes, OUTSIDE)
    return tuple((box, place) for place in ("air", "soil") for box in grounds)


def new_trends(boxes: tuple[str, ...], *, step_s: int, longest_s: int) -> TrendMemory:
    """Nothing known yet."""
    places = place_names(boxes)
    return TrendMemory(step_s, places, np.full((longest_s // step_s, len(places)), np.nan))


def windows_s(layout: Layout, boxes: tuple[str, ...], step_s: int) -> tuple[int, ...]:
    """The window of each column, whole rows long."""
    base = {"air": AIR_WINDOW_S, "soil": SOIL_WINDOW_S}
    wanted = (max(base[place], layout.interval_s(box, place, step_s)) for box, place in place_names(boxes))
    return tuple(max(step_s, round(w / step_s) * step_s) for w in wanted)


def refit(memory: TrendMemory | None, layout: Layout, boxes: tuple[str, ...], *, step_s: int) -> TrendMemory:
    """The memory for these boxes on this grid; columns of places that continue are kept."""
    longest_s = max(windows_s(layout, boxes, step_s))
    fresh = new_trends(boxes, step_s=step_s, longest_s=longest_s)
    if memory is None or memory.step_s != step_s:
        return fresh
    if memory.places == fresh.places and len(memory.rows) == len(fresh.rows):
        return memory
    depth = min(len(memory.rows), len(fresh.rows))
    where = {place: k for k, place in enumerate(memory.places)}
    for k, place in enumerate(fresh.places):
        if place in where and depth:
            fresh.rows[-depth:, k] = memory.rows[-depth:, where[place]]
    return fresh


def rises(memory: TrendMemory, rows: PlaceRows, *, windows: tuple[int, ...]) -> tuple[TrendMemory, Trends]:
    """Rise per hour of every place, and the memory after these rows."""
    now = np.concatenate(
        [rows.air_c, rows.outside_air_c[:, None], rows.soil_c, rows.outside_soil_c[:, None]], axis=1
    )
    whole = np.concatenate([memory.rows, now])
    kept, n = len(memory.rows), len(now)
    rise = np.empty_like(now)
    for k, window in enumerate(windows):
        back = window // memory.step_s
        rise[:, k] = (now[:, k] - whole[kept - back : kept - back + n, k]) * (3600.0 / window)
    half = now.shape[1] // 2
    after = replace(memory, rows=whole[n:].copy())
    return after, Trends(rise[:, :half], rise[:, half:], np.array(windows[:half], dtype=np.float64))


def quick_enough(trends: Trends, *, minutes: FloatArray) -> BoolArray:
    """Boxes whose air is read often enough to judge a rise within so many minutes, shape (b,)."""
    return trends.air_window_s[:-1] <= 60.0 * minutes
