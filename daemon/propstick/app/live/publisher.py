"""What the watch says on the broker: retained topics, so that whoever connects knows at once."""

from __future__ import annotations

import json

from propstick.engine.pipeline import EngineState
from propstick.ports import Publisher
from propstick.records import Alarm, Outcome, Reading


class StatePublisher:
    """Publishes alarms on change and each box with every row, under `propstick/<site>/`."""

    def __init__(self, publisher: Publisher) -> None:
        self._publisher = publisher
        self._has_begun = False

    def on_row(self, row_s: int, state: EngineState, outcome: Outcome, readings: tuple[Reading, ...]) -> None:
        """Retained `alarms/<box>/<kind>` while open, empty when over; retained `boxes/<box>/now`."""
        standing = {_topic(alarm): alarm for alarm in state.open_alarms}
        changed = {_topic(change.alarm) for change in outcome.changes}
        # A life that ended between commit and publishing may have left a topic standing.
        changed |= self._publisher.strays()
        if not self._has_begun:
            changed |= standing.keys()
            self._has_begun = True
        for topic in sorted(changed):
            alarm = standing.get(topic)
            self._publisher.publish(topic, json.dumps(alarm.to_json()) if alarm else "")
        for now in outcome.now:
            body = {name: getattr(now, name) for name in now.__dataclass_fields__}
            self._publisher.publish(f"boxes/{now.box}/now", json.dumps({"time_s": row_s, **body}))


def _topic(alarm: Alarm) -> str:
    return f"alarms/{alarm.box}/{alarm.kind}"
