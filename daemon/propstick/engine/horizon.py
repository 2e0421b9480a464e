"""The forecasts that look a night or a day ahead: one memory, learnt from at sunrise and at sunset.

`advance` may be given rows in any pieces; it cuts them where learning falls due, so that the result
does not depend on the pieces. Forecasts are then asked of the state, for its own last row.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine import day as daily
from propstick.engine import day_learning, day_record
from propstick.engine import night as nightly
from propstick.engine.day import DayMaximum
from propstick.engine.day_record import DayState
from propstick.engine.night import NightMinimum, NightState
from propstick.engine.nights import daylight_ending_after, night_ending_after
from propstick.engine.paths import Moments
from propstick.engine.slots import Slots, extend, no_slots
from propstick.garden import Site
from propstick.units import BoolArray, FloatArray


@dataclass(frozen=True)
class HorizonState:
    """What is carried from row to row.

    Attributes:
        slots: The last two days.
        night, day: What past nights and days taught.
        row_s: UTC seconds of the last row, 0 before the first.
    """

    slots: Slots
    night: NightState
    day: DayState
    row_s: int


def start(boxes: int) -> HorizonState:
    """Before the first row."""
    return HorizonState(no_slots(boxes), nightly.no_nights(boxes), day_record.no_days(boxes), 0)


def advance(
    state: HorizonState, rows: PlaceRows, *, site: Site, sun_share: FloatArray | None = None
) -> HorizonState:
    """The state after `rows`; every night and day that ended among them has been learnt from.

    Args:
        sun_share: Sun in each box over that of a clear sky, shape (n, b); NaN by night or unknown.
    """
    first = 0
    while first < len(rows):
        before_s = state.row_s or int(rows.time_s[first]) - 1
        night, day = night_ending_after(site, before_s), daylight_ending_after(site, before_s)
        due_s = min(night.end_s, day.sunset_s)
        stop = min(int(np.searchsorted(rows.time_s, due_s, side="left")) + 1, len(rows))
        share = None if sun_share is None else sun_share[first:stop]
        slots = extend(state.slots, rows.cut(first, stop), share)
        state = replace(state, slots=slots, row_s=int(rows.time_s[stop - 1]))
        if state.row_s >= night.end_s:
            state = replace(state, night=nightly.learn(state.night, slots, night))
        if state.row_s >= day.sunset_s:
            state = replace(state, day=day_learning.learn(state.day, slots, day, site=site))
        first = stop
    return state


def night_minimum(state: HorizonState, *, site: Site, stale: BoolArray | None = None) -> NightMinimum:
    """Tonight's minimum of boxes and outside as forecast at the last row. `stale`: see `night.minimum`."""
    night = night_ending_after(site, state.row_s)
    return nightly.minimum(state.night, state.slots, night, time_s=state.row_s, stale=stale)


def day_maximum(
    state: HorizonState, *, site: Site, moment: Moments | None, ceiling: FloatArray
) -> tuple[HorizonState, DayMaximum]:
    """Today's maximum as forecast at the last row, and the state that will mark it at sunset.

    Args:
        moment: The minute model at that row (`paths.moments_of`); None where it does not run.
        ceiling: Sun index of a clear sky by bearing (`CeilingState.level`), shape (bins, b).
    """
    today = daylight_ending_after(site, state.row_s)
    day, forecast = daily.issue(
        state.day, state.slots, today, time_s=state.row_s, site=site, moment=moment, ceiling=ceiling
    )
    return replace(state, day=day), forecast
