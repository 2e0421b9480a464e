"""What the watch says on the broker: retained topics, so that whoever connects knows at once."""

from __future__ import annotations

import json

from propstick.engine.pipeline import EngineState
from propstick.ports import Publisher
from propstick.records import Outcome, Reading


class StatePublisher:
    """Publishes alarms on change and each box with every row, under `propstick/<site>/`."""

    def __init__(self, publisher: Publisher) -> None:
        self._publisher = publisher

    def on_row(self, row_s: int, state: EngineState, outcome: Outcome, readings: tuple[Reading, ...]) -> None:
        """Retained `alarms/<box>/<kind>` while open, empty when over; retained `boxes/<box>/now`."""
        for change in outcome.changes:
            alarm = change.alarm
            topic = f"alarms/{alarm.box}/{alarm.kind}"
            still_open = any(
                open_alarm.box == alarm.box and open_alarm.kind == alarm.kind
                for open_alarm in state.open_alarms
            )
            self._publisher.publish(topic, json.dumps(alarm.to_json()) if still_open else "")
        for now in outcome.now:
            body = {name: getattr(now, name) for name in now.__dataclass_fields__}
            self._publisher.publish(f"boxes/{now.box}/now", json.dumps({"time_s": row_s, **body}))
