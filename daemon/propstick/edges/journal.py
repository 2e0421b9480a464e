"""One row of the watch, in one transaction: readings, what the engine said, news, its progress.

Either all of a row is on the disk or nothing of it. After a crash the rows since the last checkpoint
run again and say the same things under the same ids, and those fall away here.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, get_args

from sqlalchemy import Connection, delete, or_, select, update

from propstick.codec import from_text, to_text
from propstick.edges import outcomes, schema
from propstick.edges.glance import Glance
from propstick.edges.lease import Lease
from propstick.edges.outbox import Outbox
from propstick.edges.outcomes import IssuedKind, Route
from propstick.edges.readings import ReadingLog
from propstick.edges.store import Store
from propstick.news import News
from propstick.records import Brief, Notice, Outcome, Reading
from propstick.times import DAY_S, utc_text

CHECKPOINT_DAYS = 14
"""Of these many days the first checkpoint is kept, so that a recent night is replayed as lived."""


def nobody(_notice: Notice) -> tuple[str, ...]:
    """The route of a watch without channels: notices are kept, and sent to no one."""
    return ()


@dataclass(frozen=True)
class Committed:
    """What became of a row's readings."""

    stored: int
    dropped: int
    """Readings whose probe and time were there already."""


class Journal:
    """The watch's own record of one site. One process writes it; anyone may read."""

    def __init__(self, store: Store, site: str, glance: Glance | None = None) -> None:
        self._store = store
        self._site = store.site(site)
        self._readings = ReadingLog(store, site)
        self.outbox = Outbox(store, self._site, glance)
        self.lease = Lease(store, self._site)

    def take_lease(self, owner: str, now_s: int, ttl_s: int = 180) -> None:
        """Makes this process the only watch of the site; again and again, to stay it.

        Raises:
            StoreError: a living process holds the site.
        """
        self.lease.take(owner, now_s, ttl_s)

    def commit(
        self,
        *,
        row_s: int,
        readings: Sequence[Reading],
        outcome: Outcome,
        route: Route = nobody,
        news: Sequence[News] = (),
        requests_done: Sequence[int] = (),
        checkpoint: bytes | None = None,
        status: dict[str, Any] | None = None,
        lease_until_s: int | None = None,
    ) -> Committed:
        """Puts a row on the disk. Durable when it returns; may be repeated.

        Args:
            readings: With all their flags, late ones included.
            route: Which channels each new notice is planned for.
            requests_done: Ids of the requests that `news` answers.
            checkpoint: The engine's state after this row.
            status: The live view, for other processes to show.
            lease_until_s: Until when the site is to be ours from now on, if it is; UTC seconds.

        Raises:
            StoreError: nothing of the row was stored; or another watch has taken over the site.
        """
        with self._store.write() as connection:
            self.lease.hold(connection, lease_until_s)
            last_row_s = self._progress(connection, row_s, status)
            stored = self._readings.add_row(connection, readings, row_s=row_s, last_row_s=last_row_s)
            outcomes.write_outcome(self._store, connection, self._site, outcome, route=route)
            self._write_news(connection, news)
            if requests_done:
                taken = schema.requests.c
                mark = update(schema.requests).where(taken.id.in_(requests_done), taken.taken_row_s.is_(None))
                connection.execute(mark.values(taken_row_s=row_s))
            if checkpoint is not None:
                self._write_checkpoint(connection, row_s, checkpoint)
        return Committed(stored, len(readings) - stored)

    def save_checkpoint(self, row_s: int, state: bytes) -> None:
        """Keeps the engine's state after a row that is stored: on a clean stop."""
        with self._store.write() as connection:
            self.lease.hold(connection, None)
            self._write_checkpoint(connection, row_s, state)

    def last_row(self) -> int | None:
        """UTC seconds of the newest row done."""
        with self._store.read() as connection:
            return connection.scalar(
                select(schema.progress.c.row_s).where(schema.progress.c.site == self._site)
            )

    def status(self) -> dict[str, Any] | None:
        """The live view as of the newest row."""
        with self._store.read() as connection:
            packed = connection.scalar(
                select(schema.progress.c.status).where(schema.progress.c.site == self._site)
            )
        return None if packed is None else json.loads(zlib.decompress(packed))

    def load_checkpoint(self, *, until_s: int | None = None) -> tuple[int, bytes] | None:
        """The newest checkpoint (row, state), or the newest of a row up to `until_s`."""
        table = schema.checkpoints.c
        query = select(table.row_s, table.state).where(table.site == self._site)
        if until_s is not None:
            query = query.where(table.row_s <= until_s)
        with self._store.read() as connection:
            found = connection.execute(query.order_by(table.row_s.desc()).limit(1)).first()
        return None if found is None else (int(found.row_s), bytes(found.state))

    def news_between(
        self, first_row_s: int, last_row_s: int, *, kinds: tuple[type[News], ...] = ()
    ) -> list[News]:
        """News of these rows, both included, in the order in which they took effect.

        Args:
            kinds: Only these; the others are not even read. Empty: all.
        """
        table = schema.news.c
        # What a later release wrote of a kind this one does not know must not keep the watch from starting.
        known = [kind.__name__ for kind in kinds or get_args(News)]
        query = select(table.body).where(
            table.site == self._site, table.kind.in_(known), table.time_s.between(first_row_s, last_row_s)
        )
        with self._store.read() as connection:
            texts = connection.scalars(query.order_by(table.time_s, table.id)).all()
        return [from_text(text, of=News) for text in texts]

    def open_alarms(self) -> list[dict[str, Any]]:
        """Alarms that are not over, as the objects of the external contract, oldest first."""
        return self._alarms(schema.alarms.c.is_over.is_(False))

    def alarms(self, from_s: int, to_s: int) -> list[dict[str, Any]]:
        """Alarms that stood at any time from `from_s` to before `to_s`, as they are now."""
        table = schema.alarms.c
        return self._alarms(
            (table.raised_s < to_s) & or_(table.returned_s.is_(None), table.returned_s >= from_s)
        )

    def alarm(self, alarm_id: str) -> dict[str, Any] | None:
        """One alarm by its id."""
        return next(iter(self._alarms(schema.alarms.c.id == alarm_id)), None)

    def changes(self, from_s: int, to_s: int) -> list[dict[str, Any]]:
        """Every step in the life of alarms: `time`, `event`, and the alarm as it then stood."""
        table = schema.alarm_changes
        query = select(table).where(
            table.c.site == self._site, table.c.time_s >= from_s, table.c.time_s < to_s
        )
        with self._store.read() as connection:
            return [
                {"time": utc_text(r.time_s), "event": r.event, "alarm": json.loads(r.body)}
                for r in connection.execute(query.order_by(table.c.time_s, table.c.id))
            ]

    def notices(self, from_s: int, to_s: int) -> tuple[Notice, ...]:
        """Notices issued from `from_s` to before `to_s`."""
        with self._store.read() as connection:
            return outcomes.notices(connection, self._site, from_s, to_s)

    def briefs(self, from_s: int, to_s: int) -> tuple[Brief, ...]:
        """Briefs issued from `from_s` to before `to_s`."""
        with self._store.read() as connection:
            return outcomes.briefs(connection, self._site, from_s, to_s)

    def issued(self, kind: IssuedKind, from_s: int, to_s: int) -> tuple[Any, ...]:
        """Forecasts or lid openings, as records, by their own time."""
        with self._store.read() as connection:
            return outcomes.issued(connection, self._site, kind, from_s, to_s)

    def _progress(self, connection: Connection, row_s: int, status: dict[str, Any] | None) -> int | None:
        """Moves the progress on; never back. Returns where it stood."""
        table = schema.progress
        last_row_s = connection.scalar(select(table.c.row_s).where(table.c.site == self._site))
        if last_row_s is not None and last_row_s > row_s:
            return last_row_s
        values: dict[str, Any] = {"row_s": row_s}
        if status is not None:
            values["status"] = zlib.compress(json.dumps(status, separators=(",", ":")).encode())
        if last_row_s is None:
            connection.execute(table.insert().values(site=self._site, **values))
        else:
            connection.execute(update(table).where(table.c.site == self._site).values(**values))
        return last_row_s

    def _write_news(self, connection: Connection, news: Sequence[News]) -> None:
        for item in news:
            body = to_text(item)
            row = {
                "site": self._site,
                "time_s": item.time_s,
                "kind": type(item).__name__,
                "digest": hashlib.sha256(body.encode()).hexdigest()[:16],
                "body": body,
            }
            connection.execute(self._store.insert_new(schema.news), row)

    def _write_checkpoint(self, connection: Connection, row_s: int, state: bytes) -> None:
        table = schema.checkpoints
        insert = self._store.insert(table).values(site=self._site, row_s=row_s, state=state)
        connection.execute(
            insert.on_conflict_do_update(index_elements=["site", "row_s"], set_={"state": state})
        )
        rows = sorted(connection.scalars(select(table.c.row_s).where(table.c.site == self._site)))
        dropped = sorted(set(rows) - _kept_checkpoints(rows))
        if dropped:
            connection.execute(delete(table).where(table.c.site == self._site, table.c.row_s.in_(dropped)))

    def _alarms(self, condition: Any) -> list[dict[str, Any]]:
        table = schema.alarms
        query = select(table.c.body).where(table.c.site == self._site, condition)
        with self._store.read() as connection:
            texts = connection.scalars(query.order_by(table.c.raised_s, table.c.id)).all()
        return [json.loads(text) for text in texts]


def _kept_checkpoints(rows: Sequence[int]) -> set[int]:
    """The two newest, and the first of each of the last days (UTC)."""
    first_of_day: dict[int, int] = {}
    for row_s in rows:
        first_of_day.setdefault(row_s // DAY_S, row_s)
    oldest_day = rows[-1] // DAY_S - CHECKPOINT_DAYS
    return set(rows[-2:]) | {row_s for day, row_s in first_of_day.items() if day > oldest_day}
