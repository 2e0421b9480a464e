"""The alarm points that are not simply normal, and what people and the watch itself do to them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from propstick.engine.alarms import Input
from propstick.engine.conditions import Subject
from propstick.engine.kinds import FORECASTS, KINDS
from propstick.engine.standing import Standing, key_of
from propstick.garden import Garden
from propstick.records import AlarmChange


class Board:
    """Every standing, and the changes put on record.

    Attributes:
        out: Boxes out of service.
        live: Keys of the points at which time alone may change something.
    """

    def __init__(self, garden: Garden, standings: Mapping[str, Standing], out: frozenset[str]) -> None:
        self.garden = garden
        self.standings = dict(standings)
        self.out = out
        self.live = {key for key, standing in standings.items() if standing.is_live}
        self.changes: list[AlarmChange] = []

    def __getitem__(self, key: str) -> Standing:
        return self.standings[key]

    def get(self, kind: str, subject: Subject) -> Standing | None:
        """The point, if it is not simply normal."""
        return self.standings.get(key_of(kind, subject))

    def living(self) -> list[Standing]:
        """The live points, in an order that does not depend on how they came about."""
        return [self.standings[key] for key in sorted(self.live)]

    def keep(self, standing: Standing, change: AlarmChange | None = None) -> None:
        """Takes in a point as it now stands, and puts the change on record."""
        if change is not None:
            self.changes.append(change)
        key = standing.key
        self.standings[key] = standing
        if standing.is_live:
            self.live.add(key)
            return
        self.live.discard(key)
        if not standing.recent_s:
            del self.standings[key]

    def note(self, standing: Standing, event: str, at_s: int) -> None:
        """Keeps a point and records it as it is: something about it changed, its state did not."""
        record = standing.record
        self.keep(standing, None if record is None else AlarmChange(at_s, event, record))  # type: ignore[arg-type]

    def end(self, standing: Standing, at_s: int, *, outcome: str | None = None) -> None:
        """The condition is over."""
        if outcome is not None and standing.alarm is not None:
            standing = replace(standing, alarm=replace(standing.alarm, outcome=outcome))
        standing = replace(standing, active=False, begun_s=None, clear_s=None, stale=False)
        self.keep(*standing.after(standing.return_input, at_s))

    # What suppresses by design.

    def is_pointless(self, standing: Standing) -> bool:
        """Whether other alarms that stand suppress this one by design."""
        box = standing.subject.box
        if standing.kind in FORECASTS and self.is_air_silent(box):
            return True
        others = (self.get(kind, Subject(box, "air")) for kind in KINDS[standing.kind].silenced_by)
        return any(
            s is not None and s.active and s.state in ("unacknowledged", "acknowledged") for s in others
        )

    def is_air_silent(self, box: str) -> bool:
        """Whether every air probe of a box is silent."""
        probes = self.garden.probes_at(box, "air")
        points = [self.get("probe-silent", Subject(box, "air", probe.id)) for probe in probes]
        return bool(points) and all(s is not None and s.active for s in points)

    # What a person does.

    def _on_record(self, alarm_id: str) -> Iterator[Standing]:
        found = [s for s in self.standings.values() if s.alarm is not None and s.alarm.id == alarm_id]
        yield from found

    def acknowledge(self, alarm_id: str, at_s: int) -> None:
        """A person has seen it. That it may be over by now is nobody's fault."""
        for standing in self._on_record(alarm_id):
            self.keep(*standing.after(Input.ACKNOWLEDGE, at_s))

    def shelve(self, alarm_id: str, until_s: int | None, at_s: int) -> None:
        """A person puts it aside until then; None takes it off the shelf."""
        for standing in self._on_record(alarm_id):
            if until_s is None:
                if standing.state == "shelved":
                    self.unshelve(standing, at_s)
            elif standing.state != "out-of-service" and standing.alarm is not None:
                alarm = replace(standing.alarm, shelved_until_s=until_s)
                self.keep(*replace(standing, alarm=alarm).after(Input.SHELVE, at_s))

    def unshelve(self, standing: Standing, at_s: int) -> None:
        """Off the shelf, as it is by now."""
        given = Input.UNSHELVE_IN_ALARM if standing.active else Input.UNSHELVE_CLEAR
        self.keep(*standing.after(given, at_s))

    def serve(self, box: str, in_service: bool, at_s: int) -> None:
        """A box goes out of service, or comes back."""
        self.out = self.out - {box} if in_service else self.out | {box}
        for standing in self.living():
            if standing.subject.box != box:
                continue
            if not in_service:
                if standing.state != "out-of-service":
                    self.keep(*standing.after(Input.REMOVE, at_s))
            elif standing.state == "out-of-service":
                if standing.alarm is None:
                    # What began out of sight is raised afresh, with a record of its own.
                    standing = replace(standing, active=False)
                given = Input.RESTORE_IN_ALARM if standing.active else Input.RESTORE_CLEAR
                self.keep(*standing.after(given, at_s))

    def drop(self, keep: Callable[[Standing], bool], at_s: int) -> None:
        """Ends the alarms of boxes and probes that are no longer there."""
        for key, standing in list(self.standings.items()):
            if keep(standing):
                continue
            record = standing.record
            if record is not None:
                gone = replace(record, state="normal", returned_s=record.returned_s or at_s)
                self.changes.append(AlarmChange(at_s, "returned", gone))
            del self.standings[key]
            self.live.discard(key)
