"""From conditions to alarms, notices and briefs: what happens at the rows at which something does.

A row is worth a step if a rule's code changes there, a delay of some alarm runs out, an hour of the day
comes that changes what may be told, or news arrives; `due.py` finds them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from propstick.engine import briefs, notices, raising
from propstick.engine.alarms import Input
from propstick.engine.board import Board
from propstick.engine.conditions import ALARM, CLEAR, CodeMemory, Subject
from propstick.engine.desk import Desk, Moment
from propstick.engine.due import DueRows, Span
from propstick.engine.evidence import Evidence
from propstick.engine.kinds import FORECASTS, KINDS
from propstick.engine.standing import CHATTER_RAISES, STALE_S, Standing
from propstick.engine.wording import Speech
from propstick.garden import SITE
from propstick.records import Brief, Notice


class Timeline:
    """Steps through one span; what it finds stays in its fields."""

    def __init__(
        self,
        span: Span,
        board: Board,
        codes: Mapping[str, CodeMemory],
        *,
        desk: Desk,
        sent: briefs.BriefMemory,
    ) -> None:
        self.span, self.board = span, board
        self.desk, self.sent = desk, sent
        self.evidence = Evidence(
            span.conditions, codes, time_s=span.time_s, before_s=span.before_s, live=board.live
        )
        self._due = DueRows(span, board, self.evidence)
        self.notices: list[Notice] = []
        self.briefs: list[Brief] = []
        self._speech = Speech(span.garden)

    def run(self) -> None:
        """Takes every step there is."""
        i = -1
        while (following := self._due.after(i, self.desk)) is not None:
            i = following
            self._step(i)
        for standing in self.board.living():
            self.board.keep(self.evidence.with_peak(standing, len(self.span.time_s) - 1))

    def report(self, kind: str, active: bool, detail: str, t: int) -> None:
        """The watch says something about itself, at the first row."""
        subject = Subject(SITE)
        standing = self.board.get(kind, subject) or Standing(kind=kind, subject=subject)  # type: ignore[arg-type]
        if active and not standing.active:
            self._raise(replace(standing, begun_s=t, detail=detail), 0, t)
        elif not active and standing.active:
            self.board.end(standing, t)

    # One row.

    def _step(self, i: int) -> None:
        t = int(self.span.time_s[i])
        said = self.span.outlook.said_min_c.get(i)
        if said:
            self.desk = self.desk.with_said(said, t)
        for r, j in sorted(self.evidence.events.get(i, ())):
            self._recode(i, t, r, j)
        for standing in self.board.living():
            self._delays(standing, i, t)
        for standing in self.board.living():
            self._clock(standing, i, t)
        for standing in self.board.living():
            self._design(standing, i, t)
        self._tell(i, t)
        self._brief(i, t)

    def _recode(self, i: int, t: int, r: int, j: int) -> None:
        """A rule's code changed: a crossing begins or ends, the off-delay starts or stops."""
        condition = self.span.conditions[r]
        subject = condition.subjects[j]
        code = self.evidence.code(r, j, i)
        standing = self.board.get(condition.kind, subject)
        if standing is None:
            if code != ALARM:
                return
            standing = Standing(kind=condition.kind, subject=subject)
        standing = self.evidence.with_peak(standing, i)
        if code == ALARM:
            if standing.begun_s is None:
                standing = replace(standing, begun_s=t, peak_c=None, peak_s=None)
                self.evidence.begin_peak(standing.key, i)
                standing = self.evidence.with_peak(self._foretold(standing, i, t), i)
            standing = replace(standing, clear_s=None)
        elif not standing.active:
            standing = replace(standing, begun_s=None)
        elif code != CLEAR:
            standing = replace(standing, clear_s=None)
        elif standing.clear_s is None:
            standing = replace(standing, clear_s=t)
        self.board.keep(standing)

    def _foretold(self, standing: Standing, i: int, t: int) -> Standing:
        """A crossing that begins ends the forecast of it; the forecast came true."""
        for kind in KINDS[standing.kind].foretold_by:
            ahead = self.board.get(kind, standing.subject)
            if ahead is None or not ahead.active:
                continue
            told_s = ahead.told_s if ahead.told_by_push else None
            if kind in FORECASTS:
                self.board.end(self.evidence.with_peak(ahead, i), t, outcome="came")
            if told_s is not None:
                return replace(standing, foretold_s=told_s, foretold_by=kind)
        named_s = self.desk.named_s.get(f"open|{standing.subject.box}") if standing.kind == "heat" else None
        if named_s is not None and t - named_s < notices.NAMED_S:
            return replace(standing, foretold_s=named_s, foretold_by="heat-ahead")
        return standing

    def _delays(self, standing: Standing, i: int, t: int) -> None:
        """On-delay met: raised. Off-delay met: returned. Only on a row with evidence of its own."""
        due_s = self._due.delay_s(standing)
        if due_s is None or due_s > t or not self.evidence.is_known(standing.key, i):
            return
        standing = self.evidence.with_peak(standing, i)
        if not standing.active:
            self._raise(standing, i, t)
            return
        record, told = standing.alarm, standing.told_by_push
        is_forecast = standing.kind in FORECASTS
        self.board.end(standing, t, outcome="withdrawn" if is_forecast else None)
        if told and record is not None and not is_forecast and self.span.garden.notices.notify_return:
            self.notices.append(notices.tell_return(replace(record, returned_s=t), self._moment(i, t)))

    def _raise(self, standing: Standing, i: int, t: int) -> None:
        recent = (*standing.recent_s, t)[-CHATTER_RAISES:]
        standing = replace(standing, active=True, clear_s=None, recent_s=recent)
        if standing.state == "normal":
            if standing.subject.box in self.board.out:
                standing, _ = standing.after(Input.REMOVE, t)
            elif self._is_silenced(standing, i):
                standing, _ = standing.after(Input.SUPPRESS, t)
        if standing.state in ("normal", "returned"):
            if standing.alarm is not None:  # over, never looked at: it gives way to the new one
                self.board.note(replace(standing, state="normal"), "updated", t)
                standing = replace(standing.without_record(), state="normal")
            standing = raising.recorded(
                standing, t, self.evidence.facts(standing.key, i),
                view=self.span.views(i).get(standing.subject.box), seen=self._as_seen(standing, i),
                speech=self._speech,
            )  # fmt: skip
        self.board.keep(*standing.after(Input.RAISE, t))

    def _as_seen(self, standing: Standing, i: int) -> raising.Seen | None:
        """How the box is seen at a row, where that decides whether a silence is pressing."""
        box = standing.subject.box
        view = self.span.views(i).get(box)
        if standing.kind != "probe-silent" or standing.subject.place != "air" or view is None:
            return None
        sun = self.span.day.sun
        is_day = sun.rise_s <= self.span.time_s[i] < sun.set_s
        return raising.Seen(view, last_air_c=self.span.last_air_c(i, box), is_day=bool(is_day))

    def _clock(self, standing: Standing, i: int, t: int) -> None:
        """What falls due by the clock alone: the end of a shelving, a day in alarm."""
        alarm = standing.alarm
        if alarm is None:
            return
        shelf_s = alarm.shelved_until_s
        if standing.state == "shelved" and shelf_s is not None and shelf_s <= t:
            self.board.unshelve(self.evidence.with_peak(standing, i), t)
            standing = self.board.standings.get(standing.key, standing)
        is_old = standing.active and not standing.stale and t >= alarm.raised_s + STALE_S
        if is_old and standing.alarm is not None:
            self.board.note(replace(self.evidence.with_peak(standing, i), stale=True), "updated", t)

    def _design(self, standing: Standing, i: int, t: int) -> None:
        """Suppression by design comes and goes."""
        hidden = standing.state == "suppressed"
        if not hidden and standing.state not in ("unacknowledged", "acknowledged"):
            return
        if hidden == self._is_silenced(standing, i):
            return
        standing = self.evidence.with_peak(standing, i)
        if not hidden:
            self.board.keep(*standing.after(Input.SUPPRESS, t))
        elif standing.active and standing.alarm is None:
            # What began out of sight is raised now, with a record of its own.
            standing, _ = replace(standing, active=False).after(Input.UNSUPPRESS_CLEAR, t)
            self._raise(standing, i, t)
        else:
            given = Input.UNSUPPRESS_IN_ALARM if standing.active else Input.UNSUPPRESS_CLEAR
            self.board.keep(*standing.after(given, t))

    def _is_silenced(self, standing: Standing, i: int) -> bool:
        return self.evidence.is_silenced(standing.key, i) or self.board.is_pointless(standing)

    # Telling.

    def _moment(self, i: int, t: int) -> Moment:
        views = self.span.views(i)
        return Moment(
            time_s=t,
            day=self.span.day,
            garden=self.span.garden,
            soon=lambda: self.span.soon(i),
            lid={box: view.lid for box, view in views.items()},
            air_c={box: view.air_c for box, view in views.items()},
            foreseen_c=self._foreseen_c(i),
            covered=frozenset(box for box, view in views.items() if view.lid == 0.0 and view.cover == 1.0),
        )

    def _foreseen_c(self, i: int) -> dict[str, float]:
        """Tonight's minimum as foreseen at a row, of boxes it warns of."""
        ahead = [s for s in self.board.living() if s.kind == "frost-ahead" and s.alarm is not None]
        values = {s.subject.box: self.evidence.facts(s.key, i).get("value_c") for s in ahead}
        return {box: float(value) for box, value in values.items() if isinstance(value, float)}

    def _tell(self, i: int, t: int) -> None:
        living = self.board.living()
        wanted = notices.wanting(living)
        due = [
            s for s in living if (at := notices.escalation_due_s(s, self.span.garden)) is not None and at <= t
        ]
        if not wanted and not due:
            return
        moment = self._moment(i, t)
        self.desk, told, found = notices.tell(self.desk, wanted, moment)
        self.notices.extend(found)
        for standing in (self.evidence.with_peak(s, i) for s in told):
            alarm = standing.alarm
            if standing.kind == "heat" and standing.told_by_push and alarm and alarm.lead_minutes is None:
                lead = (alarm.begun_s - t) / 60.0
                self.board.note(replace(standing, alarm=replace(alarm, lead_minutes=lead)), "updated", t)
            else:
                self.board.keep(standing)
        for standing in (self.evidence.with_peak(s, i) for s in due):
            standing, notice = notices.escalate(standing, moment)
            self.notices.append(notice)
            self.board.note(standing, "escalated", t)

    def _brief(self, i: int, t: int) -> None:
        for which in briefs.WHICH:
            if not self.sent.is_due(which, self.span.day, t):
                continue
            living = self.board.living()
            self.briefs.append(
                briefs.compose(
                    which,
                    self.span.day,
                    t,
                    garden=self.span.garden,
                    boxes=self.span.views(i),
                    outside_c=self.span.outside_c(i),
                    lines=self.span.outlook.briefs.get(i),
                    open_alarms=living,
                )
            )
            self.sent = self.sent.sent(which, self.span.day.date)
            foreseen = self.span.outlook.said_min_c.get(i, {})
            warned = briefs.warned_c(self.briefs[-1], self.span.views(i))
            asked = {box: foreseen.get(box, low_c) for box, low_c in warned.items()}
            self.desk = self.desk.with_said(asked, t)
            if which == "evening":
                self.desk = self.desk.with_asked(asked, t)
            for standing in living:
                if standing.alarm and standing.told_s is None and KINDS[standing.kind].telling == "brief":
                    self.board.keep(replace(standing, told_s=t))
