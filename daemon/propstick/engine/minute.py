"""The minute-scale part of the engine in one call: observer, shade, lid, heat-ahead.

`follow` may be given rows in any pieces. It cuts them where learning falls due, so that everything
learnt from a day is in force from the same row on however the rows arrive.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine.ceiling import CeilingState, ceiling_at, start_ceiling, watch_ceiling
from propstick.engine.heat_ahead import HeatAhead, HeatState, joined_ahead, look_ahead, start_heat
from propstick.engine.observer import observe
from propstick.engine.observer_state import DAY_S, ObserverState, learns_at_s, start
from propstick.engine.opening import Openings, OpeningState, joined_openings, judge_openings, start_opening
from propstick.engine.trace import Trace, joined_trace
from propstick.garden import Box, Site
from propstick.units import FloatArray


@dataclass(frozen=True)
class MinuteState:
    """All that is carried from row to row."""

    observer: ObserverState
    opening: OpeningState
    ceiling: CeilingState
    heat: HeatState


@dataclass(frozen=True)
class Minutes:
    """What the rows said. `trace.index` tells which of the given rows each row of it is.

    Attributes:
        ceiling: Clear-sky ceiling of the sun index, (n, b).
        ahead: Heat forecasts; `ahead.row` counts rows of the trace.
    """

    trace: Trace
    openings: Openings
    ceiling: FloatArray
    ahead: HeatAhead


def begin(boxes: tuple[Box, ...], step_s: int = 60) -> MinuteState:
    """Day one. `step_s` is the grid's; rows closer than a minute are thinned."""
    observer = start(boxes, step_s)
    b, used_s = len(boxes), observer.step_s
    return MinuteState(observer, start_opening(b), start_ceiling(b, used_s), start_heat(b, used_s))


def follow(
    state: MinuteState, rows: PlaceRows, *, limit_c: FloatArray, boxes: tuple[Box, ...], site: Site,
    read_every_s: FloatArray | None = None,
) -> tuple[MinuteState, Minutes]:  # fmt: skip
    """Take in some rows and forecast from them.

    Args:
        limit_c: Heat setpoint of each box, (b,), or of each of the given rows, (n, b).
        read_every_s: Seconds between the readings of each box's air where slower than the grid, (b,).
    """
    limits = np.broadcast_to(np.asarray(limit_c, dtype=float), rows.air_c.shape)
    days = (rows.time_s - learns_at_s(site)) // DAY_S
    cuts = [0, *(np.flatnonzero(np.diff(days)) + 1).tolist(), len(rows)]
    parts = []
    for first, stop in pairwise(cuts):
        piece = rows.cut(first, stop)
        state, part = _within_a_day(state, piece, limits[first:stop], boxes, site, read_every_s)
        parts.append((first, part))
    return state, joined(parts)


def _within_a_day(
    state: MinuteState, rows: PlaceRows, limits: FloatArray, boxes: tuple[Box, ...], site: Site,
    read_every_s: FloatArray | None,
) -> tuple[MinuteState, Minutes]:  # fmt: skip
    step_s = state.observer.step_s
    observer, trace = observe(state.observer, rows, site, read_every_s=read_every_s)
    ceiling_state, ceiling = ceiling_at(state.ceiling, trace, site=site)
    opening, openings = judge_openings(state.opening, trace, ceiling=ceiling, step_s=step_s)
    ceiling_state = watch_ceiling(ceiling_state, trace, lid=openings.opening, step_s=step_s)
    heat, ahead = look_ahead(
        state.heat, trace, limit_c=limits[trace.index], boxes=boxes, site=site, step_s=step_s
    )
    return MinuteState(observer, opening, ceiling_state, heat), Minutes(trace, openings, ceiling, ahead)


def joined(parts: list[tuple[int, Minutes]]) -> Minutes:
    """Pieces laid end to end, each with the number of its first row among all rows given."""
    traces = [part.trace for _, part in parts]
    before = np.cumsum([0, *(len(trace) for trace in traces)])
    return Minutes(
        trace=joined_trace(traces, shifts=[first for first, _ in parts]),
        openings=joined_openings([part.openings for _, part in parts]),
        ceiling=np.concatenate([part.ceiling for _, part in parts]),
        ahead=joined_ahead([part.ahead for _, part in parts], shifts=before[:-1].tolist()),
    )
