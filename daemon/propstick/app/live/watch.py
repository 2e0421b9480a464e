"""The watch: wait for a row, sample it, advance, commit, tell.

All that reaches a person is decided by the engine from rows and news; this file only carries. A row
is done when its transaction is, so a death at any moment costs at most the row under way, and the
next start picks up from the store.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, get_args

import numpy as np

from propstick.app.live.delivery import DeliveryDesk
from propstick.app.live.newsdesk import news_of
from propstick.app.live.now import LastSeen, now_view
from propstick.app.live.resume import resume
from propstick.app.live.rowclock import LATE_S, Row, RowClock
from propstick.app.live.sampler import Sampler
from propstick.blocks import FAULT_BITS, Block
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog, stored_value
from propstick.edges.requests import Requests
from propstick.edges.store import Store
from propstick.engine import snapshot
from propstick.engine.pipeline import EngineState, advance
from propstick.errors import InputError, StoreError
from propstick.garden import Garden
from propstick.grid import ReadingColumns, lay
from propstick.news import GardenChanged, News, Trouble, TroubleKind
from propstick.ports import Clock
from propstick.records import Brief, NightForecast, Outcome, Reading

log = logging.getLogger(__name__)

CHECKPOINT_S = 4 * 3600
"""How old the saved state may be. Written hourly it would be most of what goes to the card; four hours of
rows run again in a second."""
SHORTEST_LEASE_S = 30

RowListener = Callable[[int, EngineState, Outcome, tuple[Reading, ...]], None]


@dataclass(frozen=True)
class Parts:
    """What a watch is made of; chosen by `app/live/wiring`.

    Attributes:
        garden: Gives the garden as it is in file and store now; asked at every row, so it must be
            cheap when nothing changed.
        extra_news: Requests that came by other ways than the store, as (kind, body).
        troubles: What housekeeping found, kind of alarm → what is the matter.
        make_room: Asked when the disk is full; True if there is some more now.
        finish: Given a brief and the nights foreseen at its row, the brief with what else there is to say
            in it, from beyond the engine.
        extra_status: More to keep beside the live view.
        owner: Takes the lease on the site before the first commit; empty: it is held, or nobody asks for one.
        on_row: Called after each commit: the publisher, the demo's table, the service manager.
        checkpoint_phase_s: Moves its checkpoints, so that those of many sites do not fall together.
    """

    store: Store
    journal: Journal
    readings: ReadingLog
    requests: Requests
    sampler: Sampler
    delivery: DeliveryDesk
    clock: Clock
    garden: Callable[[], Garden]
    extra_news: Callable[[], Sequence[tuple[str, dict]]] = tuple
    troubles: Callable[[], Mapping[str, str]] = dict
    make_room: Callable[[], bool] = lambda: False
    finish: Callable[[Brief, Sequence[NightForecast]], Brief] = lambda brief, _nights: brief
    extra_status: Callable[[], Mapping[str, Any]] = dict
    owner: str = ""
    on_row: tuple[RowListener, ...] = ()
    checkpoint_phase_s: int = 0


def lease_s(step_s: int) -> int:
    """How long a site stays a watch's own after its last row: three rows, so that none is late by chance."""
    return max(SHORTEST_LEASE_S, 3 * step_s)


class Watch:
    """One site's watch. `run()` returns when the clock is woken for good."""

    def __init__(self, parts: Parts, *, step_s: int) -> None:
        self._parts = parts
        self._step_s = step_s
        garden = parts.garden()
        self.state = resume(parts.journal, parts.readings, garden, step_s=step_s)
        last_row_s = self.state.row_s
        self._checkpoint_s = last_row_s or 0
        self._rows = RowClock(parts.clock, step_s=step_s, last_row_s=last_row_s)
        self._seen = LastSeen()
        self._backlog: list[dict[str, Any]] = []
        self._store_trouble = ""
        self._owner = parts.owner

    def run(self) -> None:
        """Does rows until the program stops. Leaves a checkpoint, so the next start is quick."""
        while (row := self._rows.next_row()) is not None:
            self.do_row(row)

    def left_s(self) -> float:
        """Seconds until its next row falls due; for who runs many watches."""
        return self._rows.left_s()

    def do_due_row(self) -> None:
        """Does the row that has fallen due."""
        self.do_row(self._rows.row())

    def leave(self) -> None:
        """Puts a last checkpoint on the disk, so that the next start has little to run again."""
        if self.state.row_s is None or self._backlog:
            return
        try:
            self._parts.journal.save_checkpoint(self.state.row_s, snapshot.dump(self.state))
        except StoreError as error:
            log.warning("checkpoint-refused reason=%r", error.message)

    def do_row(self, row: Row) -> None:
        """Samples, advances, commits and tells one row.

        While the store refuses, the watch goes on in memory: rows wait in order for the store to
        take them again, and notices go to the channels directly. Being warned comes before being
        recorded.
        """
        parts = self._parts
        garden = parts.garden()
        arrived = _as_stored(parts.sampler.row(row.time_s))
        news, done = self._news(row, garden)
        block = _block_of(arrived, row.time_s, self._step_s, _columns(garden, arrived))
        self.state, outcome = advance(self.state, block, news)
        if outcome.briefs:
            briefs = tuple(parts.finish(one, outcome.nights) for one in outcome.briefs)
            outcome = replace(outcome, briefs=briefs)
        readings = _with_flags(arrived, block, outcome)
        self._seen.note(readings, FAULT_BITS)
        told = (*outcome.notices, *(brief.as_notice() for brief in outcome.briefs))
        self._backlog.append(
            {
                "row_s": row.time_s,
                "readings": readings,
                "outcome": replace(outcome, notices=told),
                "route": parts.delivery.route,
                "news": news,
                "requests_done": done,
                "checkpoint": self._checkpoint(row.time_s),
                "status": {
                    **now_view(self.state, outcome, row_s=row.time_s, seen=self._seen),
                    **parts.extra_status(),
                },
            }
        )
        self._flush()
        if self._backlog:
            parts.delivery.send_unstored(told)
            del self._backlog[:-KEPT_ROWS]
        else:
            parts.sampler.committed()
            if told:
                parts.delivery.wake()
        _log_changes(outcome)
        for listener in parts.on_row:
            listener(row.time_s, self.state, outcome, readings)

    def _flush(self) -> None:
        """Commits what waits, oldest first, until the store refuses."""
        try:
            now_s, ttl_s = int(self._parts.clock.wall_s()), lease_s(self._step_s)
            if self._owner:
                self._parts.journal.take_lease(self._owner, now_s, ttl_s)
                self._owner = ""
            while self._backlog:
                self._parts.journal.commit(**self._backlog[0], lease_until_s=now_s + ttl_s)
                del self._backlog[0]
            self._store_trouble = ""
        except StoreError as error:
            if error.reason in ("corrupt", "leased"):
                # A new start sets a damaged file aside; in a file like that nothing more is safe. Of a site
                # that another has taken over the other tells: going on here would tell everything twice.
                raise
            if error.reason == "full" and self._parts.make_room():
                self._flush()
                return
            self._store_trouble = error.message
            log.error("store-refused reason=%r rows_waiting=%d", error.message, len(self._backlog))

    def _news(self, row: Row, garden: Garden) -> tuple[tuple[News, ...], tuple[int, ...]]:
        """All news of the row, and the ids of the requests they came from."""
        parts = self._parts
        news: list[News] = []
        # At the very first row too: a night replayed later must know the garden it was lived in.
        if garden != self.state.garden or self.state.row_s is None:
            news.append(GardenChanged(time_s=row.time_s, garden=garden))
        news.extend(self._troubles(row))
        known = frozenset(alarm.id for alarm in self.state.open_alarms)
        done: list[int] = []
        wanted: list[tuple[int | None, str, dict]] = []
        try:
            waiting = {request_id for work in self._backlog for request_id in work["requests_done"]}
            wanted.extend((r.id, r.kind, r.body) for r in parts.requests.pending() if r.id not in waiting)
        except StoreError as error:
            self._store_trouble = error.message
        wanted.extend((None, kind, body) for kind, body in parts.extra_news())
        for request_id, kind, body in wanted:
            try:
                news.append(news_of(kind, body, row_s=row.time_s, garden=garden, known_alarms=known))
                if request_id is not None:
                    done.append(request_id)
            except InputError as error:
                log.warning("request-refused kind=%s reason=%r", kind, error.message)
                if request_id is not None:
                    self._refuse(request_id, error.message, row.time_s)
        return tuple(news), tuple(done)

    def _refuse(self, request_id: int, reason: str, row_s: int) -> None:
        try:
            self._parts.requests.refuse(request_id, reason, row_s=row_s)
        except StoreError as error:
            self._store_trouble = error.message

    def _troubles(self, row: Row) -> list[Trouble]:
        """What has begun or ended of what the watch has to say about itself: news is kept for good."""
        found: dict[TroubleKind, list[str]] = {kind: [] for kind in get_args(TroubleKind)}
        if row.skipped * self._step_s >= LATE_S:
            found["watch-late"].append(f"{row.skipped * self._step_s // 60} minutes were not watched")
        if not row.is_set or row.behind_s:
            found["clock-unset"].append(_clock_detail(row))
        found["store-trouble"].append(self._store_trouble)
        found["push-trouble"].append(self._parts.delivery.trouble())
        for kind, detail in self._parts.troubles().items():
            found[kind].append(detail)
        details = {kind: "; ".join(filter(None, texts)) for kind, texts in found.items()}
        return [
            Trouble(time_s=row.time_s, kind=kind, active=bool(detail), detail=detail)
            for kind, detail in details.items()
            if bool(detail) != (kind in self.state.troubles)
        ]

    def _checkpoint(self, row_s: int) -> bytes | None:
        phase_s = self._parts.checkpoint_phase_s
        if (row_s + phase_s) // CHECKPOINT_S == (self._checkpoint_s + phase_s) // CHECKPOINT_S:
            return None
        self._checkpoint_s = row_s
        return snapshot.dump(self.state)


KEPT_ROWS = 2_000
"""Rows held in memory while the store refuses them: about a day and a half at 60 s."""


def _columns(garden: Garden, readings: tuple[Reading, ...]) -> tuple[str, ...]:
    """The garden's probes in its own order, then any that answered without being assigned."""
    assigned = tuple(probe.id for probe in garden.probes)
    return (*assigned, *sorted({r.probe for r in readings} - set(assigned)))


def _clock_detail(row: Row) -> str:
    if not row.is_set:
        return "the clock is not set; times are counted on from the last reading"
    return f"the clock was set back; times run {round(row.behind_s / 60)} minutes ahead until it catches up"


def _as_stored(readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
    """Readings rounded as the store keeps them, so that a replay sees what was seen."""
    return tuple(r if r.value is None else replace(r, value=stored_value(r.value)) for r in readings)


def _block_of(readings: tuple[Reading, ...], row_s: int, step_s: int, columns: tuple[str, ...]) -> Block:
    index = {probe: k for k, probe in enumerate(columns)}
    return lay(
        ReadingColumns(
            probes=columns,
            time_ms=np.array([r.time_ms for r in readings], dtype=np.int64),
            column=np.array([index[r.probe] for r in readings], dtype=np.int32),
            raw=np.array([np.nan if r.value is None else r.value for r in readings], dtype=np.float64),
            flags=np.array([r.flags for r in readings], dtype=np.uint16),
        ),
        step_s=step_s,
        first_row_s=row_s,
        rows=1,
    )


def _with_flags(readings: tuple[Reading, ...], block: Block, outcome: Outcome) -> tuple[Reading, ...]:
    """The engine's flags on the reading that stands in the row for its probe."""
    taken = {probe: k for k, probe in enumerate(block.probes)}
    flagged = []
    for reading in readings:
        k = taken[reading.probe]
        stands = reading.value is not None and reading.value == block.values[0, k]
        bits = int(outcome.flags[0, k]) if stands else 0
        flagged.append(replace(reading, flags=reading.flags | bits) if bits else reading)
    return tuple(flagged)


def _log_changes(outcome: Outcome) -> None:
    for change in outcome.changes:
        alarm = change.alarm
        log.info(
            "alarm event=%s kind=%s box=%s id=%s value_c=%s limit_c=%s",
            change.event, alarm.kind, alarm.box, alarm.id, alarm.value_c, alarm.limit_c,
        )  # fmt: skip
    for notice in outcome.notices:
        log.info("notice id=%s to=%s text=%r", notice.id, notice.to, notice.text)
