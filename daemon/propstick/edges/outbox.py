"""Notices on their way: which channel still has to take which, and how the tries went.

A notice is planned in the same transaction as the alarm that asks for it, and stays until a channel
took it or trying again cannot help.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import ColumnElement, or_, select, update

from propstick.codec import from_text
from propstick.edges import schema
from propstick.edges.glance import Glance
from propstick.edges.store import Store
from propstick.records import Notice
from propstick.times import DAY_S

_table = schema.outbox.c


@dataclass(frozen=True)
class Outgoing:
    """One notice for one channel."""

    notice: Notice
    channel: str
    attempts: int
    next_try_s: int
    detail: str = ""
    """What the last try said."""


class Outbox:
    """The outbox of one site; `glance` asks for many at once."""

    def __init__(self, store: Store, site: int, glance: Glance | None = None) -> None:
        self._store = store
        self._site = site
        self._glance = glance
        if glance is not None:
            glance.add(site)

    def may_hold_some(self) -> bool:
        """False if nothing waits for a channel, as far as that can be told at no cost of one's own."""
        return self._glance is None or self._glance.has_notices(self._site)

    def waiting(self, now_s: int) -> list[Outgoing]:
        """What is due, oldest notice first."""
        # A try put off by more than a day was put off by a clock that has since been set back.
        due = or_(_table.next_try_s <= now_s, _table.next_try_s > now_s + DAY_S)
        return self._select(due)

    def undelivered(self) -> list[Outgoing]:
        """Everything no channel has taken yet and that is still tried."""
        return self._select(_table.next_try_s.is_not(None))

    def plan(self, notice_id: str, channels: Sequence[str], *, due_s: int) -> None:
        """More channels for a stored notice; those planned before stay as they are."""
        rows = [
            {"site": self._site, "notice_id": notice_id, "channel": name, "next_try_s": due_s}
            for name in channels
        ]
        if rows:
            with self._store.write() as connection:
                connection.execute(self._store.insert_new(schema.outbox), rows)

    def delivered(self, notice_id: str, channel: str, now_s: int) -> None:
        """The channel took it."""
        self._note(
            notice_id, channel, delivered_s=now_s, next_try_s=None, attempts=_table.attempts + 1, detail=""
        )

    def failed(self, notice_id: str, channel: str, now_s: int, detail: str, retry_at_s: int | None) -> None:
        """It did not; None for `retry_at_s`: give up."""
        given_up_s = now_s if retry_at_s is None else None
        self._note(
            notice_id, channel, next_try_s=retry_at_s, given_up_s=given_up_s,
            attempts=_table.attempts + 1, detail=detail[:500],
        )  # fmt: skip

    def _note(self, notice_id: str, channel: str, **values: object) -> None:
        with self._store.write() as connection:
            connection.execute(
                update(schema.outbox)
                .where(
                    _table.site == self._site, _table.notice_id == notice_id, _table.channel == channel,
                    _table.delivered_s.is_(None),
                )
                .values(**values)
            )  # fmt: skip

    def _select(self, condition: ColumnElement[bool]) -> list[Outgoing]:
        notices = schema.notices.c
        query = (
            select(schema.outbox, notices.body)
            .join(schema.notices, (notices.site == _table.site) & (notices.id == _table.notice_id))
            .where(_table.site == self._site, _table.delivered_s.is_(None), condition)
            .order_by(notices.issued_s, notices.id, _table.channel)
        )
        with self._store.read() as connection:
            return [
                Outgoing(from_text(r.body, of=Notice), r.channel, r.attempts, r.next_try_s, r.detail)
                for r in connection.execute(query)
            ]
