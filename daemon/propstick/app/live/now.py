"""The live view as data: what each box is doing at the last row, and what stands open.

Written by the watch with every row, read by the service; nobody else computes it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from propstick.engine.pipeline import EngineState
from propstick.garden import OUTSIDE
from propstick.records import BoxNow, Outcome, Reading
from propstick.times import utc_text


class LastSeen:
    """When each probe last gave a good value; starts empty after every start."""

    def __init__(self) -> None:
        self._time_ms: dict[str, int] = {}

    def note(self, readings: tuple[Reading, ...], faults: int) -> None:
        """Takes in a row's readings; `faults` are the flag bits that make a value no good."""
        for reading in readings:
            if reading.value is not None and not reading.flags & faults:
                self._time_ms[reading.probe] = max(reading.time_ms, self._time_ms.get(reading.probe, 0))

    def of(self, probes: Mapping[str, Any] | tuple[str, ...]) -> int | None:
        """The newest good reading of any of them, UTC seconds."""
        times = [self._time_ms[p] for p in probes if p in self._time_ms]
        return max(times) // 1000 if times else None


def now_view(state: EngineState, outcome: Outcome, *, row_s: int, seen: LastSeen) -> dict[str, Any]:
    """The live view after a row. Temperatures in °C, times UTC; the reader's unit is the page's matter."""
    garden = state.garden
    alarms = [alarm.to_json() for alarm in state.open_alarms]
    return {
        "site": garden.site.name,
        "time": utc_text(row_s),
        "step_s": garden.step_s,
        "boxes": [
            _box_view(box_now, state, alarms, seen) for box_now in outcome.now if box_now.box != OUTSIDE
        ],
        "outside": next(
            (_places_view(box_now, state, seen) for box_now in outcome.now if box_now.box == OUTSIDE), None
        ),
        "alarms": alarms,
    }


def _box_view(
    now: BoxNow, state: EngineState, alarms: list[dict[str, Any]], seen: LastSeen
) -> dict[str, Any]:
    return {
        **_places_view(now, state, seen),
        "limits": {"heat_c": now.heat_c, "prop_c": now.prop_c, "frost_c": now.frost_c},
        "alarms": [alarm["id"] for alarm in alarms if alarm["box"] == now.box],
        "doubt": now.doubt,
    }


def _places_view(now: BoxNow, state: EngineState, seen: LastSeen) -> dict[str, Any]:
    def place(name: str, value: float | None, rise: float | None = None) -> dict[str, Any]:
        ids = tuple(p.id for p in state.garden.probes_at(now.box, name))
        at_s = seen.of(ids)
        return {
            "value": value,
            "rise_per_h": rise,
            "read": None if at_s is None else utc_text(at_s),
            "probes": list(ids),
        }

    return {
        "box": now.box,
        "air": place("air", now.air_c, now.rise_c_per_h),
        "soil": place("soil", now.soil_c, now.soil_rise_c_per_h),
        "humidity": place("humidity", now.humidity_pct),
        "lid": {"opening": now.lid, "from": now.lid_from},
        "cover": now.cover,
    }
