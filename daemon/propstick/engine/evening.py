"""What an evening says about the night to come: the features the night forecast is regressed on.

One row of features per box, and one for the open ground (last). Everything is a difference, so the
regression needs no climate; scales bring the features near one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine.nights import HOUR_S, Night
from propstick.engine.slots import SLOT_S, Slots
from propstick.physics.air import dew_point_of_air_c
from propstick.units import FloatArray

NAMES = (
    "constant", "hours_left", "change_1h", "change_3h", "day_rise", "last_low", "lift", "soil_over_air",
    "usual_drop", "own_change_1h", "open_lift", "since_yesterday", "open_soil", "dew_gap",
)  # fmt: skip
FEATURES = len(NAMES)
_PER_HOUR = HOUR_S // SLOT_S


@dataclass(frozen=True)
class Evening:
    """The state of things at an issue.

    Attributes:
        air_c: 15-min mean of air, boxes then outside, shape (b + 1,); NaN where unknown.
        features: Shape (b + 1, FEATURES); an unknown feature is NaN.
        beside: Whether the outside air was known.
    """

    air_c: FloatArray
    features: FloatArray
    beside: bool


def evening_at(slots: Slots, night: Night, time_s: float, *, usual_drop_c: FloatArray) -> Evening:
    """Features at `time_s` from the slots that were whole by then.

    Args:
        usual_drop_c: Mean of past (minimum - air at this hour), boxes then outside, shape (b + 1,) [°C].
    """
    i = slots.index_of(time_s)
    window = Window(slots, i)
    air = window.mean("air_c", 3)
    outside = air[-1]
    beside = bool(~np.isnan(outside))
    # Without an outside probe the box's own air stands in: a fair guide to the weather by night.
    to = np.full_like(air, outside) if beside else air
    pick = -1 if beside else slice(None)
    hour_ago, three_ago = (window.mean("air_c", 3, back=h * _PER_HOUR) for h in (1, 3))
    yesterday = window.mean("air_c", 12, back=24 * _PER_HOUR - 6)
    low, high = window.extremes(24 * _PER_HOUR)
    soil = window.mean("soil_c", 3)
    lid = window.mean("lid", 3)
    lift = air - to if beside else np.full_like(air, np.nan)
    left = night.hours_left(time_s)
    columns = {
        "constant": np.ones_like(air),
        "hours_left": np.full_like(air, left / 5.0 - 1.0),
        "change_1h": (to - hour_ago[pick]),
        "change_3h": (to - three_ago[pick]) / 3.0,
        "day_rise": (high[pick] - to - 5.0) / 3.0,
        "last_low": (low[pick] - to) / 3.0,
        "lift": lift,
        "soil_over_air": (soil - air) / 3.0,
        "usual_drop": usual_drop_c,
        "own_change_1h": air - hour_ago,
        "open_lift": np.where(np.isnan(lid), 0.0, lid) * lift,
        "since_yesterday": (to - yesterday[pick]) / 3.0,
        "open_soil": np.full_like(air, (soil[-1] - outside) / 3.0),
        "dew_gap": (to - _dew_point_c(to, air, window.mean("humidity_pct", 3))) / 3.0,
    }
    return Evening(air, np.stack([columns[name] for name in NAMES], axis=1), beside)


def _dew_point_c(outside_c: FloatArray, air_c: FloatArray, humidity_pct: FloatArray) -> FloatArray:
    """Dew point of the outside air where its humidity is known, else of the air in each box.

    A box over moist soil has more vapour than the outside; how much its own dew point tells is learnt.
    """
    outside_pct = np.full_like(humidity_pct, humidity_pct[-1])
    of_outside = dew_point_of_air_c(outside_c, outside_pct)
    return np.where(np.isnan(of_outside), dew_point_of_air_c(air_c, humidity_pct), of_outside)


class Window:
    """Means and extremes of the slots up to one of them."""

    def __init__(self, slots: Slots, last: int) -> None:
        self._slots, self._last = slots, last

    def mean(self, place: str, count: int, *, back: int = 0) -> FloatArray:
        """Mean of `count` slots ending `back` slots ago; NaN where none is known."""
        stop = self._last + 1 - back
        part = self._slots.part(place, stop - count, stop)
        if not len(part):
            return np.full(part.shape[1], np.nan)
        known = ~np.isnan(part)
        # Accumulate, not sum: numpy sums in pairs, and then the length of the part would show.
        total, n = np.add.accumulate(np.where(known, part, 0.0), axis=0)[-1], known.sum(axis=0)
        return np.where(n > 0, total / np.maximum(n, 1), np.nan)

    def extremes(self, count: int) -> tuple[FloatArray, FloatArray]:
        """Least and greatest air of the last `count` slots."""
        part = slice(max(self._last + 1 - count, 0), max(self._last + 1, 0))
        low, high = self._slots.low[part], self._slots.high[part]
        nothing = np.full(low.shape[1], np.nan)
        if not len(low):
            return nothing, nothing
        return np.fmin.reduce(low, axis=0).astype(np.float64), np.fmax.reduce(high, axis=0).astype(np.float64)
