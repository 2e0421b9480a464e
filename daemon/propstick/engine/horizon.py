"""The forecasts that look a night or a day ahead: one memory, learnt from at each night's end.

`advance` may be given rows in any pieces; it cuts them where learning falls due, so that the result
does not depend on the pieces. Forecasts are then asked of the state, for its own last row.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine import night as nightly
from propstick.engine.night import NightMinimum, NightState
from propstick.engine.nights import night_ending_after
from propstick.engine.slots import Slots, extend, no_slots
from propstick.garden import Site


@dataclass(frozen=True)
class HorizonState:
    """What is carried from row to row.

    Attributes:
        slots: The last two days.
        night: What past nights taught.
        row_s: UTC seconds of the last row, 0 before the first.
    """

    slots: Slots
    night: NightState
    row_s: int


def start(boxes: int) -> HorizonState:
    """Before the first row."""
    return HorizonState(no_slots(boxes), nightly.no_nights(boxes), 0)


def advance(state: HorizonState, rows: PlaceRows, *, site: Site) -> HorizonState:
    """The state after `rows`; every night that ended among them has been learnt from."""
    first = 0
    while first < len(rows):
        # Slots are whole at multiples of five minutes; the night is learnt at the first row after one.
        night = night_ending_after(site, state.row_s or int(rows.time_s[first]) - 1)
        stop = int(np.searchsorted(rows.time_s, night.end_s, side="left")) + 1
        ended = stop <= len(rows)
        part = rows.cut(first, min(stop, len(rows)))
        state = replace(state, slots=extend(state.slots, part), row_s=int(part.time_s[-1]))
        if ended:
            state = replace(state, night=nightly.learn(state.night, state.slots, night))
        first = min(stop, len(rows))
    return state


def night_minimum(state: HorizonState, *, site: Site) -> NightMinimum:
    """Tonight's minimum of boxes and outside as forecast at the last row."""
    night = night_ending_after(site, state.row_s)
    return nightly.minimum(state.night, state.slots, night, time_s=state.row_s)
