"""What the watch says on the broker: retained topics, so that whoever connects knows at once."""

from __future__ import annotations

import json

from propstick.engine.kinds import KINDS
from propstick.engine.pipeline import EngineState
from propstick.garden import SITE
from propstick.ports import Publisher
from propstick.records import Outcome, Reading


class StatePublisher:
    """Publishes alarms on change and each box with every row, under `propstick/<site>/`."""

    def __init__(self, publisher: Publisher) -> None:
        self._publisher = publisher
        self._has_begun = False

    def on_row(self, row_s: int, state: EngineState, outcome: Outcome, readings: tuple[Reading, ...]) -> None:
        """Retained `alarms/<box>/<kind>` while open, empty when over; retained `boxes/<box>/now`."""
        open_now = {(alarm.box, alarm.kind): alarm for alarm in state.open_alarms}
        changed = {(change.alarm.box, change.alarm.kind) for change in outcome.changes}
        if not self._has_begun:
            # A life that ended between commit and publishing may have left a topic standing.
            changed = {(now.box, kind) for now in outcome.now for kind in KINDS} | {
                (SITE, kind) for kind in KINDS
            }
            self._has_begun = True
        for box, kind in sorted(changed):
            alarm = open_now.get((box, kind))
            self._publisher.publish(f"alarms/{box}/{kind}", json.dumps(alarm.to_json()) if alarm else "")
        for now in outcome.now:
            body = {name: getattr(now, name) for name in now.__dataclass_fields__}
            self._publisher.publish(f"boxes/{now.box}/now", json.dumps({"time_s": row_s, **body}))
