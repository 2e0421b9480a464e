"""What was sown where and what became of it: kept for good, every change with who made it and when.

Nothing is deleted. A sowing taken back is marked; a date corrected leaves the old one in its history.
"""

from __future__ import annotations

import json
import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Connection, func, select, update

from propstick.edges import schema
from propstick.edges.sowing_fields import DATES, FIELDS, check_order, checked
from propstick.edges.store import Store
from propstick.errors import InputError

_table = schema.sowings.c


@dataclass(frozen=True, kw_only=True)
class StoredSowing:
    """One batch as the person keeps it; dates are days on their own calendar.

    Attributes:
        made_s: When it was first written down, UTC seconds.
        yield_g: What it gave by weight [g].
        removed_s: When it was taken back as a mistake; None for one that counts.
    """

    id: int
    made_s: int
    crop: str
    box: str
    sown: date | None = None
    first_up: date | None = None
    half_up: date | None = None
    flowering: date | None = None
    first_pick: date | None = None
    cleared: date | None = None
    note: str = ""
    yield_note: str = ""
    yield_g: int | None = None
    removed_s: int | None = None

    def to_json(self) -> dict[str, Any]:
        """The sowing object of the API."""
        days = {name: getattr(self, name) for name in DATES}
        return {
            "id": self.id,
            "crop": self.crop,
            "box": self.box,
            **{name: None if day is None else day.isoformat() for name, day in days.items()},
            "note": self.note,
            "yield_note": self.yield_note,
            "yield_g": self.yield_g,
            "removed": self.removed_s is not None,
        }


@dataclass(frozen=True)
class SowingChange:
    """One change: field → (before, after), as text or number."""

    time_s: int
    by: str
    fields: dict[str, tuple[Any, Any]]


class Sowings:
    """The sowings of one site."""

    def __init__(self, store: Store, site: str) -> None:
        self._store = store
        self._site = store.site(site)

    def add(
        self, fields: Mapping[str, Any], *, by: str, key: str | None = None, at_s: int | None = None
    ) -> StoredSowing:
        """Writes down a sowing. The same `key` again is the same sowing.

        Args:
            fields: `crop` and `box`, and any others of `FIELDS`; days as dates or `2026-03-15`.

        Raises:
            InputError: an unknown field, a value of the wrong kind, a day before that of sowing.
        """
        given = checked(fields)
        for name in ("crop", "box"):
            if not given.get(name):
                raise InputError(f"sowing: no {name} given, expected its name")
        check_order(given)
        now_s = int(time.time()) if at_s is None else at_s
        values = {"site": self._site, "made_s": now_s, "key": key, **given}
        with self._store.write() as connection:
            insert = self._store.insert_new(schema.sowings).values(**values).returning(_table.id)
            made = connection.scalar(insert)
            if made is None:
                same = select(_table.id).where(_table.site == self._site, _table.key == key)
                return self._get(connection, int(connection.scalar(same)))
            self._note(connection, made, {n: (None, v) for n, v in given.items()}, by=by, at_s=now_s)
            return self._get(connection, made)

    def change(
        self, sowing_id: int, fields: Mapping[str, Any], *, by: str, at_s: int | None = None
    ) -> StoredSowing:
        """Changes some fields; None empties a day or a weight.

        Raises:
            InputError: as for `add`, or no such sowing.
        """
        given = checked(fields)
        with self._store.write() as connection:
            before = self._get(connection, sowing_id)
            now = {**{name: getattr(before, name) for name in FIELDS}, **given}
            check_order(now, told=given, number=sowing_id)
            return self._apply(connection, before, given, by=by, at_s=at_s)

    def remove(self, sowing_id: int, *, by: str, at_s: int | None = None) -> StoredSowing:
        """Takes a sowing back as a mistake; it stays readable and can be put back.

        Raises:
            InputError: no such sowing.
        """
        now_s = int(time.time()) if at_s is None else at_s
        with self._store.write() as connection:
            before = self._get(connection, sowing_id)
            if before.removed_s is not None:
                return before
            return self._apply(connection, before, {"removed_s": now_s}, by=by, at_s=now_s)

    def put_back(self, sowing_id: int, *, by: str, at_s: int | None = None) -> StoredSowing:
        """Undoes `remove`.

        Raises:
            InputError: no such sowing.
        """
        with self._store.write() as connection:
            before = self._get(connection, sowing_id)
            return self._apply(connection, before, {"removed_s": None}, by=by, at_s=at_s)

    def get(self, sowing_id: int) -> StoredSowing | None:
        """One sowing, also one taken back."""
        with self._store.read() as connection:
            row = connection.execute(self._query().where(_table.id == sowing_id)).first()
        return None if row is None else _record(row)

    def all(self, *, removed: bool = False) -> list[StoredSowing]:
        """Every sowing that counts, in the order of writing down; with those taken back if wanted."""
        query = self._query().order_by(_table.id)
        if not removed:
            query = query.where(_table.removed_s.is_(None))
        with self._store.read() as connection:
            return [_record(row) for row in connection.execute(query)]

    def history(self, sowing_id: int) -> list[SowingChange]:
        """Its changes, oldest first; the first is the writing down."""
        table = schema.sowing_changes.c
        query = (
            select(table.time_s, table.by, table.body)
            .join(schema.sowings, _table.id == table.sowing)
            .where(table.sowing == sowing_id, _table.site == self._site)
            .order_by(table.id)
        )
        with self._store.read() as connection:
            return [
                SowingChange(r.time_s, r.by, {n: (old, new) for n, (old, new) in json.loads(r.body).items()})
                for r in connection.execute(query)
            ]

    def revision(self) -> int:
        """A number that grows with every change: cheap to ask at every row."""
        table = schema.sowing_changes.c
        with self._store.read() as connection:
            return int(connection.scalar(select(func.max(table.id))) or 0)

    def _query(self) -> Any:
        return select(schema.sowings).where(_table.site == self._site)

    def _get(self, connection: Connection, sowing_id: int) -> StoredSowing:
        row = connection.execute(self._query().where(_table.id == sowing_id)).first()
        if row is None:
            raise InputError(f"sowing {sowing_id}: there is none", hint="see propstick sow list")
        return _record(row)

    def _apply(
        self,
        connection: Connection,
        before: StoredSowing,
        given: Mapping[str, Any],
        *,
        by: str,
        at_s: int | None,
    ) -> StoredSowing:
        changed = {n: (getattr(before, n), v) for n, v in given.items() if getattr(before, n) != v}
        if not changed:
            return before
        new = {name: after for name, (_, after) in changed.items()}
        connection.execute(update(schema.sowings).where(_table.id == before.id).values(**new))
        self._note(connection, before.id, changed, by=by, at_s=int(time.time()) if at_s is None else at_s)
        return self._get(connection, before.id)

    def _note(
        self,
        connection: Connection,
        sowing_id: int,
        changed: Mapping[str, tuple[Any, Any]],
        *,
        by: str,
        at_s: int,
    ) -> None:
        body = json.dumps(
            {name: [_plain(old), _plain(new)] for name, (old, new) in changed.items()}, ensure_ascii=False
        )
        row = {"sowing": sowing_id, "time_s": at_s, "by": by, "body": body}
        connection.execute(schema.sowing_changes.insert(), row)


def _record(row: Any) -> StoredSowing:
    return StoredSowing(**{name: getattr(row, name) for name in StoredSowing.__dataclass_fields__})


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value
