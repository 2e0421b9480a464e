"""From conditions to alarms, notices and briefs: steps through the rows at which something happens.

A row is worth a step if a rule's code changes there, a delay of some alarm runs out, an hour of the day
comes that changes what may be told, or news arrives. At every other row a step would change nothing, so
leaving them out gives the same as taking them all; that is what makes the result independent of how
the rows are cut into blocks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from propstick.engine import briefs, notices
from propstick.engine.alarms import Input
from propstick.engine.foresight import Outlook
from propstick.engine.kinds import FORECASTS, KINDS
from propstick.engine.rules import ALARM, CLEAR, UNKNOWN, CodeMemory, Condition, Subject, held, no_codes
from propstick.engine.schedule import Day
from propstick.engine.standing import CHATTER_RAISES, STALE_S, Standing, alarm_id, key_of, keys_of
from propstick.engine.wording import Speech, alarm_message
from propstick.garden import Garden
from propstick.records import Alarm, AlarmChange, Brief, Notice
from propstick.units import IntArray

_SILENCED = 4
SILENT_HEAT_C, SILENT_FROST_C = 5.0, 3.0
"""A box whose last air probe falls silent this near to a limit is told of at once."""


@dataclass(frozen=True)
class Span:
    """A stretch of rows within one local date and under one garden.

    Attributes:
        before_s: The row before the first.
        views: What the briefs and notices see of the boxes at a row.
        soon: Boxes on their way to their heat limit at a row: name, air, time they would pass.
        last_air_c: The last good air of a box as of a row, even if silent since.
        out: Boxes out of service.
    """

    garden: Garden
    day: Day
    time_s: IntArray
    step_s: int
    before_s: int
    conditions: Sequence[Condition]
    outlook: Outlook
    views: Callable[[int], Mapping[str, briefs.BoxView]]
    outside_c: Callable[[int], float]
    soon: Callable[[int], Sequence[tuple[str, float, float]]]
    last_air_c: Callable[[int, str], float]
    out: frozenset[str]


class Timeline:
    """Steps through one span. Holds the standings while it does; everything it finds is in its fields."""

    def __init__(
        self, span: Span, standings: Mapping[str, Standing], codes: Mapping[str, CodeMemory], desk: notices.Desk,
        sent: briefs.BriefMemory,
    ) -> None:  # fmt: skip
        self.span = span
        self.standings = dict(standings)
        self.desk, self.sent = desk, sent
        self.codes: dict[str, CodeMemory] = dict(codes)
        self.changes: list[AlarmChange] = []
        self.notices: list[Notice] = []
        self.briefs: list[Brief] = []
        self._speech = Speech(span.garden)
        self._where: dict[str, tuple[int, int]] = {}
        self._filled: list[np.ndarray] = []
        self._events: dict[int, list[tuple[int, int]]] = {}
        self._seen: dict[str, int] = {}
        self._live = {key for key, standing in self.standings.items() if standing.is_live}
        for r, condition in enumerate(span.conditions):
            self._lay(r, condition)

    def _lay(self, r: int, condition: Condition) -> None:
        """Finds the rows at which a rule's codes change."""
        memory = self.codes.get(condition.kind)
        memory = no_codes(condition.subjects) if memory is None else memory.at(condition.subjects)
        filled, before, self.codes[condition.kind] = held(
            condition, memory, self.span.time_s, self.span.before_s
        )
        self._filled.append(filled)
        keys = keys_of(condition.kind, condition.subjects)
        self._where.update(zip(keys, ((r, j) for j in range(len(keys))), strict=True))
        # Where nothing is going on, only what reaches the setpoint begins something.
        alarms = filled % _SILENCED == ALARM
        for j in np.flatnonzero(alarms.any(axis=0) | [key in self._live for key in keys]):
            changed = np.flatnonzero(filled[:, j] != before[:, j])
            first = 0 if keys[j] in self._live else int(np.argmax(alarms[:, j]))
            for i in changed[np.searchsorted(changed, first) :]:
                self._events.setdefault(int(i), []).append((r, int(j)))

    def run(self) -> None:
        """Takes every step there is."""
        for i in self._rows():
            self._step(i)
        for key in self._live:
            self._absorb(key, len(self.span.time_s) - 1)

    # Which rows.

    def _rows(self) -> Iterator[int]:
        n = len(self.span.time_s)
        fixed = {0, *self._events, *self.span.outlook.briefs, *self.span.outlook.said_min_c}
        fixed |= {k for moment in self.span.day.moments() if (k := self._row_at(moment)) < n}
        order = sorted(fixed)
        at, i = 0, -1
        while True:
            while at < len(order) and order[at] <= i:
                at += 1
            i = min([order[at] if at < len(order) else n, *self._due_rows(i)])
            if i >= n:
                return
            yield i

    def _row_at(self, time_s: int) -> int:
        """Index of the first row at or after a time, not before the first."""
        return max(0, -(-(time_s - int(self.span.time_s[0])) // self.span.step_s))

    def _due_rows(self, i: int) -> Iterator[int]:
        """Later rows than `i` at which a delay runs out."""
        for key in self._live:
            standing = self.standings[key]
            evidence = self._evidence_due_s(standing)
            if evidence is not None:
                yield self._known_row(key, max(i + 1, self._row_at(evidence)))
            for due_s in self._clock_due_s(standing):
                k = self._row_at(due_s)
                if k > i:
                    yield k
            if standing.kind == "frost" and standing.told_s is None and standing.active:
                yield self._deeper_row(standing, i + 1)

    def _evidence_due_s(self, standing: Standing) -> int | None:
        """When the on- or off-delay is met."""
        found = self._where.get(standing.key)
        if found is None:
            return None
        condition = self.span.conditions[found[0]]
        if not standing.active:
            return None if standing.begun_s is None else standing.begun_s + int(condition.on_delay_s[found[1]])
        if standing.clear_s is None:
            return None
        return standing.clear_s + standing.off_delay_s(int(condition.off_delay_s[found[1]]))

    def _clock_due_s(self, standing: Standing) -> Iterator[int]:
        if standing.alarm is None:
            return
        if standing.state == "shelved" and standing.alarm.shelved_until_s is not None:
            yield standing.alarm.shelved_until_s
        if standing.active and not standing.stale:
            yield standing.alarm.raised_s + STALE_S
        if standing.foretold_s is not None:
            yield notices.foretold_until_s(standing, self.span.garden)
        escalation = notices.escalation_due_s(standing, self.span.garden)
        if escalation is not None:
            yield escalation

    def _known_row(self, key: str, i: int) -> int:
        r, j = self._where[key]
        known = self.span.conditions[r].known[i:, j]
        return i + int(np.argmax(known)) if known.any() else len(self.span.time_s)

    def _deeper_row(self, standing: Standing, i: int) -> int:
        """The first row from `i` on at which an untold frost is worth waking for."""
        bound = notices.waking_c(standing, self.desk)
        n = len(self.span.time_s)
        if bound is None or standing.key not in self._where:
            return n
        r, j = self._where[standing.key]
        deep = self.span.conditions[r].value_c[i:, j] <= bound
        return i + int(np.argmax(deep)) if deep.any() else n

    # One row.

    def _step(self, i: int) -> None:
        t = int(self.span.time_s[i])
        for box, low_c in self.span.outlook.said_min_c.get(i, {}).items():
            self.desk = replace(self.desk, said_min_c={**self.desk.said_min_c, box: low_c})
        for r, j in sorted(self._events.get(i, ())):
            self._recode(i, t, r, j)
        for key in sorted(self._live):
            self._delays(key, i, t)
        for key in sorted(self._live):
            self._clock(key, t)
        for key in sorted(self._live):
            self._design(key, i, t)
        self._tell(i, t)
        self._brief(i, t)

    def _recode(self, i: int, t: int, r: int, j: int) -> None:
        """A rule's code changed: a crossing begins or ends, the off-delay starts or stops."""
        condition = self.span.conditions[r]
        subject = condition.subjects[j]
        key = key_of(condition.kind, subject)
        packed = int(self._filled[r][i, j])
        code = packed if packed <= ALARM else packed - _SILENCED
        standing = self.standings.get(key)
        if standing is None:
            if code != ALARM:
                return
            standing = Standing(kind=condition.kind, subject=subject)
        self._absorb(key, i)
        if code == ALARM:
            if standing.begun_s is None:
                standing = replace(standing, begun_s=t, peak_c=None, peak_s=None)
                self._seen[key] = i - 1
                standing = self._foretold(standing, t)
            standing = replace(standing, clear_s=None)
        elif standing.active:
            clears = code == CLEAR
            standing = replace(standing, clear_s=(t if standing.clear_s is None else standing.clear_s) if clears else None)
        else:
            standing = replace(standing, begun_s=None)
        self._keep(standing)
        if code == ALARM:
            self._absorb(key, i)

    def _foretold(self, standing: Standing, t: int) -> Standing:
        """A crossing that begins ends the forecast of it; the forecast came true."""
        ahead_kind = KINDS[standing.kind].foretold_by
        if ahead_kind is None:
            return standing
        ahead = self.standings.get(key_of(ahead_kind, standing.subject))
        if ahead is None or not ahead.active:
            return standing
        told_s = ahead.told_s if ahead.told_by_push else None
        self._end(ahead, t, outcome="came")
        return replace(standing, foretold_s=told_s)

    def _delays(self, key: str, i: int, t: int) -> None:
        """On-delay met: raised. Off-delay met: returned. Only on a row with evidence of its own."""
        standing = self.standings[key]
        due_s = self._evidence_due_s(standing)
        if due_s is None or due_s > t:
            return
        r, j = self._where[key]
        if not self.span.conditions[r].known[i, j]:
            return
        self._absorb(key, i)
        standing = self.standings[key]
        if standing.active:
            outcome = "withdrawn" if standing.kind in FORECASTS else None
            self._end(standing, t, outcome=outcome)
        else:
            self._raise(standing, i, t)

    def _raise(self, standing: Standing, i: int, t: int) -> None:
        recent = (*standing.recent_s, t)[-CHATTER_RAISES:]
        standing = replace(standing, active=True, clear_s=None, recent_s=recent)
        if standing.subject.box in self.span.out and standing.state == "normal":
            standing, _ = standing.after(Input.REMOVE, t)
        elif standing.state == "normal" and self._is_silenced(standing, i):
            standing, _ = standing.after(Input.SUPPRESS, t)
        if standing.state in ("normal", "returned"):
            standing = self._on_record(standing, i, t)
        standing, change = standing.after(Input.RAISE, t)
        self._keep(standing, change)

    def _on_record(self, standing: Standing, i: int, t: int) -> Standing:
        """The point with a new alarm on record. One that was over and never looked at gives way to it."""
        if standing.alarm is not None:
            over = replace(standing.record, state="normal") if standing.record else None
            if over is not None:
                self.changes.append(AlarmChange(t, "updated", over))
            standing = replace(standing.without_record(), state="normal")
        kind = KINDS[standing.kind]
        subject = standing.subject
        alarm = Alarm(
            id=alarm_id(standing.kind, subject, t),
            box=subject.box,
            kind=standing.kind,
            state="unacknowledged",
            raised_s=t,
            begun_s=t if standing.begun_s is None else standing.begun_s,
            probe=subject.probe,
            place=subject.place,
            urgency=kind.urgency,
            severity=kind.severity,
            certainty=kind.certainty,
            outcome="open" if standing.kind in FORECASTS else None,
            **self._evidence(standing, i),
        )
        if standing.foretold_s is not None:
            alarm = replace(alarm, lead_minutes=(alarm.begun_s - standing.foretold_s) / 60.0)
        alarm = replace(alarm, message=alarm_message(alarm, self._speech, detail=standing.detail))
        return replace(standing, alarm=alarm, pressing=self._is_pressing(standing, i))

    def _evidence(self, standing: Standing, i: int) -> dict[str, object]:
        found = self._where.get(standing.key)
        if found is None:
            return {}
        r, j = found
        condition = self.span.conditions[r]

        def of(rows: np.ndarray | None) -> float | None:
            return None if rows is None or np.isnan(rows[i, j]) else float(rows[i, j])

        limit = float(condition.limit_c[j])
        etas = (of(condition.eta_s), of(condition.eta_low_s), of(condition.eta_high_s))
        chance = of(condition.chance)
        evidence: dict[str, object] = {
            "value_c": of(condition.value_c),
            "limit_c": None if np.isnan(limit) else limit,
            **{name: None if eta is None else round(eta) for name, eta in zip(("eta_s", "eta_low_s", "eta_high_s"), etas, strict=True)},
        }
        if chance is not None:
            evidence["certainty"] = "Likely" if chance >= 0.5 else "Possible"
        return evidence

    def _is_pressing(self, standing: Standing, i: int) -> bool:
        """Whether the silence of a probe leaves a box near a limit without any air probe."""
        subject, garden = standing.subject, self.span.garden
        if standing.kind != "probe-silent" or subject.place != "air" or subject.box not in garden.box_names:
            return False
        view = self.span.views(i)[subject.box]
        if view.air_c == view.air_c:  # another probe still answers
            return False
        air_c = self.span.last_air_c(i, subject.box)
        heat_c, frost_c = view.limits.heat_c, view.limits.frost_c
        t = int(self.span.time_s[i])
        sun_up = self.span.day.sun.rise_s <= t < self.span.day.sun.set_s
        if view.empty or heat_c is None or frost_c is None:
            return False
        return (sun_up and air_c >= heat_c - SILENT_HEAT_C) or air_c <= frost_c + SILENT_FROST_C

    def _end(self, standing: Standing, t: int, *, outcome: str | None = None) -> None:
        """The condition is over."""
        told, record = standing.told_by_push, standing.alarm
        if outcome is not None and standing.alarm is not None:
            standing = replace(standing, alarm=replace(standing.alarm, outcome=outcome))
        standing = replace(standing, active=False, begun_s=None, clear_s=None, stale=False)
        standing, change = standing.after(standing.return_input, t)
        self._keep(standing, change)
        if told and record is not None and outcome is None and self.span.garden.notices.notify_return:
            self.notices.append(notices.tell_return(replace(record, returned_s=t), self._moment(0, t)))

    def _clock(self, key: str, t: int) -> None:
        """What falls due by the clock alone: the end of a shelving, a day in alarm."""
        standing = self.standings[key]
        alarm = standing.alarm
        if alarm is None:
            return
        if standing.state == "shelved" and alarm.shelved_until_s is not None and alarm.shelved_until_s <= t:
            self.unshelve(key, t)
            standing = self.standings[key]
            if standing.alarm is None:
                return
        if standing.active and not standing.stale and t >= alarm.raised_s + STALE_S:
            standing = replace(standing, stale=True)
            self._keep(standing, AlarmChange(t, "updated", standing.record) if standing.record else None)

    def _design(self, key: str, i: int, t: int) -> None:
        """Suppression by design comes and goes."""
        standing = self.standings[key]
        if standing.state == "suppressed" and not self._is_silenced(standing, i):
            if standing.active and standing.alarm is None:
                standing, _ = replace(standing, active=False).after(Input.UNSUPPRESS_CLEAR, t)
                self._raise(standing, i, t)
                return
            given = Input.UNSUPPRESS_IN_ALARM if standing.active else Input.UNSUPPRESS_CLEAR
            self._keep(*standing.after(given, t))
        elif standing.state in ("unacknowledged", "acknowledged") and self._is_silenced(standing, i):
            self._keep(*standing.after(Input.SUPPRESS, t))

    def _is_silenced(self, standing: Standing, i: int) -> bool:
        found = self._where.get(standing.key)
        if found is not None and int(self._filled[found[0]][i, found[1]]) >= _SILENCED + UNKNOWN:
            return True
        box = standing.subject.box
        if standing.kind in FORECASTS and self._air_is_silent(box):
            return True
        return any(self._stands(kind, box) for kind in KINDS[standing.kind].silenced_by)

    def _stands(self, kind: str, box: str) -> bool:
        standing = self.standings.get(key_of(kind, Subject(box, "air")))
        return standing is not None and standing.active and standing.state in ("unacknowledged", "acknowledged")

    def _air_is_silent(self, box: str) -> bool:
        probes = self.span.garden.probes_at(box, "air")
        keys = [key_of("probe-silent", Subject(box, "air", probe.id)) for probe in probes]
        return bool(keys) and all((s := self.standings.get(key)) is not None and s.active for key in keys)

    # What a person does, and what the watch reports of itself; called before the first row's step.

    def acknowledge(self, wanted_id: str, t: int) -> None:
        """A person has seen it. An alarm that is over by now is nobody's fault."""
        for standing in list(self.standings.values()):
            if standing.alarm is not None and standing.alarm.id == wanted_id:
                self._keep(*standing.after(Input.ACKNOWLEDGE, t))

    def shelve(self, wanted_id: str, until_s: int | None, t: int) -> None:
        """A person puts it aside until then, or takes it off the shelf."""
        for key, standing in list(self.standings.items()):
            if standing.alarm is None or standing.alarm.id != wanted_id:
                continue
            if until_s is None:
                if standing.state == "shelved":
                    self.unshelve(key, t)
            elif standing.state != "out-of-service":
                alarm = replace(standing.alarm, shelved_until_s=until_s)
                self._keep(*replace(standing, alarm=alarm).after(Input.SHELVE, t))

    def unshelve(self, key: str, t: int) -> None:
        """Off the shelf, as it is by now."""
        standing = self.standings[key]
        given = Input.UNSHELVE_IN_ALARM if standing.active else Input.UNSHELVE_CLEAR
        self._keep(*standing.after(given, t))

    def serve(self, box: str, in_service: bool, t: int) -> None:
        """A box goes out of service, or comes back."""
        for key in [k for k in sorted(self._live) if self.standings[k].subject.box == box]:
            standing = self.standings[key]
            if not in_service:
                self._keep(*standing.after(Input.REMOVE, t))
            elif standing.state == "out-of-service":
                if standing.active and standing.alarm is None:  # raised meanwhile, and hidden: begins now
                    standing, _ = replace(standing, active=False).after(Input.RESTORE_CLEAR, t)
                    self._keep(standing)
                    continue
                given = Input.RESTORE_IN_ALARM if standing.active else Input.RESTORE_CLEAR
                self._keep(*standing.after(given, t))

    def report(self, kind: str, active: bool, detail: str, t: int) -> None:
        """The watch says something about itself."""
        subject = Subject("site")
        standing = self.standings.get(key_of(kind, subject)) or Standing(kind=kind, subject=subject)  # type: ignore[arg-type]
        if active and not standing.active:
            standing = replace(standing, begun_s=t, detail=detail)
            self._raise(standing, 0, t)
        elif not active and standing.active:
            self._end(standing, t)

    def drop(self, keep: Callable[[Standing], bool], t: int) -> None:
        """Ends the alarms of boxes and probes that are no longer there."""
        for key, standing in list(self.standings.items()):
            if not keep(standing):
                if standing.record is not None:
                    gone = replace(standing.record, state="normal", returned_s=standing.record.returned_s or t)
                    self.changes.append(AlarmChange(t, "returned", gone))
                del self.standings[key]
                self._live.discard(key)

    # Telling.

    def _moment(self, i: int, t: int) -> notices.Moment:
        views = self.span.views(i)
        return notices.Moment(
            time_s=t,
            day=self.span.day,
            garden=self.span.garden,
            soon=lambda: self.span.soon(i),
            lid={box: view.lid for box, view in views.items()},
            air_c={box: view.air_c for box, view in views.items()},
        )

    def _tell(self, i: int, t: int) -> None:
        live = [self.standings[key] for key in sorted(self._live)]
        wanted = notices.wanting(live)
        due = [s for s in live if (at := notices.escalation_due_s(s, self.span.garden)) is not None and at <= t]
        if not wanted and not due:
            return
        moment = self._moment(i, t)
        self.desk, told, found = notices.tell(self.desk, wanted, moment)
        self.notices.extend(found)
        for standing in told:
            self._keep(*self._lead(standing, t))
        for standing in due:
            standing, notice = notices.escalate(standing, moment)
            self.notices.append(notice)
            self._keep(standing, AlarmChange(t, "escalated", standing.record) if standing.record else None)

    def _lead(self, standing: Standing, t: int) -> tuple[Standing, AlarmChange | None]:
        """The lead of a heat notice that no forecast went before."""
        alarm = standing.alarm
        if standing.kind != "heat" or alarm is None or alarm.lead_minutes is not None or not standing.told_by_push:
            return standing, None
        standing = replace(standing, alarm=replace(alarm, lead_minutes=(alarm.begun_s - t) / 60.0))
        return standing, AlarmChange(t, "updated", standing.record) if standing.record else None

    def _brief(self, i: int, t: int) -> None:
        for which in ("morning", "evening"):
            if not self.sent.is_due(which, self.span.day, t):
                continue
            live = [self.standings[key] for key in sorted(self._live)]
            self.briefs.append(
                briefs.compose(
                    which, self.span.day, t, garden=self.span.garden, boxes=self.span.views(i),
                    outside_c=self.span.outside_c(i), lines=self.span.outlook.briefs.get(i), open_alarms=live,
                )
            )  # fmt: skip
            self.sent = self.sent.sent(which, self.span.day.date)
            for standing in live:
                if standing.alarm is not None and standing.told_s is None and KINDS[standing.kind].telling == "brief":
                    self._keep(replace(standing, told_s=t))

    # Keeping.

    def _keep(self, standing: Standing, change: AlarmChange | None = None) -> None:
        if change is not None:
            self.changes.append(change)
        key = standing.key
        self.standings[key] = standing
        if standing.is_live:
            self._live.add(key)
            return
        self._live.discard(key)
        if not standing.recent_s:
            del self.standings[key]

    def _absorb(self, key: str, i: int) -> None:
        """Takes the rows up to `i` into the peak of a crossing."""
        standing = self.standings.get(key)
        found = self._where.get(key)
        if standing is None or found is None or standing.begun_s is None:
            self._seen[key] = i
            return
        r, j = found
        seen = self._seen.get(key, -1)
        values = self.span.conditions[r].value_c[seen + 1 : i + 1, j]
        self._seen[key] = max(seen, i)
        if not len(values) or np.isnan(values).all():
            return
        sign = KINDS[standing.kind].sign
        k = int(np.nanargmax(values) if sign > 0 else np.nanargmin(values))
        best = float(values[k])
        if standing.peak_c is None or sign * best > sign * standing.peak_c:
            at_s = int(self.span.time_s[seen + 1 + k])
            self.standings[key] = replace(standing, peak_c=best, peak_s=at_s)


