"""What people ask of the watch, from the page and from commands: written here, carried out by the watch.

The watch alone changes alarms; everyone else leaves a request, and the watch takes it up at its next
row as dated news.
"""

from __future__ import annotations

import json
import time
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select, update

from propstick.edges import schema
from propstick.edges.glance import Glance
from propstick.edges.store import Store

_table = schema.requests.c


@dataclass(frozen=True)
class Request:
    """One wish, and what became of it.

    Attributes:
        made_s: UTC seconds.
        by: Who: `page`, `command`, a name.
        taken_row_s: The row at which the watch took it up; None while it waits.
        refused: Why it could not be carried out, else None.
    """

    id: int
    made_s: int
    kind: str
    body: dict[str, Any]
    by: str
    taken_row_s: int | None = None
    refused: str | None = None


class Requests:
    """The requests of one site; `glance` tells for many at once whether there are any."""

    def __init__(self, store: Store, site: str, glance: Glance | None = None) -> None:
        self._store = store
        self._site = store.site(site)
        self._glance = glance
        if glance is not None:
            glance.add(self._site)

    def add(
        self, kind: str, body: dict[str, Any], *, by: str, key: str | None = None, made_s: int | None = None
    ) -> int:
        """Leaves a request and returns its id. The same `key` again is the same request."""
        row = {
            "site": self._site,
            "made_s": int(time.time()) if made_s is None else made_s,
            "kind": kind,
            "body": json.dumps(body, separators=(",", ":"), ensure_ascii=False),
            "by": by,
            "key": key,
        }
        with self._store.write() as connection:
            insert = self._store.insert_new(schema.requests).values(row).returning(_table.id)
            made = connection.scalar(insert)
            if made is None:
                same = select(_table.id).where(_table.site == self._site, _table.key == key)
                made = connection.scalar(same)
        return int(made)

    def pending(self) -> list[Request]:
        """What the watch has not taken up, oldest first."""
        if self._glance is not None and not self._glance.has_requests(self._site):
            return []
        return self._select(_table.taken_row_s.is_(None))

    def get(self, request_id: int) -> Request | None:
        """One request by its id."""
        return next(iter(self._select(_table.id == request_id)), None)

    def refuse(self, request_id: int, reason: str, *, row_s: int) -> None:
        """Says why a request is not carried out; it is then no longer pending."""
        with self._store.write() as connection:
            mine = (_table.site == self._site) & (_table.id == request_id)
            connection.execute(
                update(schema.requests).where(mine).values(refused=reason[:500], taken_row_s=row_s)
            )

    def _select(self, condition: Any) -> list[Request]:
        query = select(schema.requests).where(_table.site == self._site, condition).order_by(_table.id)
        with self._store.read() as connection:
            return [
                Request(r.id, r.made_s, r.kind, json.loads(r.body), r.by, r.taken_row_s, r.refused)
                for r in connection.execute(query)
            ]
