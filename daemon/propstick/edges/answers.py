"""The links in notices: an answer to each alarm of that notice, good once each, for a day.

The store keeps only the hash of a link's token: whoever reads the file cannot answer with it.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlalchemy import ColumnElement, delete, select, update

from propstick.edges import schema
from propstick.edges.access import token_hash
from propstick.edges.store import Store

_table = schema.answer_tokens
KEPT_S = 7 * 86_400
"""Spent and expired links are known so long, to be told apart from links that never were."""


@dataclass(frozen=True)
class Answer:
    """What a link is for.

    Attributes:
        alarm_ids: The alarms of the notice not answered yet (all answered: the last one); mostly one.
        used_s, expires_s: UTC seconds; `used_s` None while it is good.
    """

    alarm_ids: tuple[str, ...]
    action: str
    made_s: int
    expires_s: int
    used_s: int | None

    def is_good(self, now_s: int) -> bool:
        """Whether it can still be given. A clock set back does not make it good for longer."""
        return self.used_s is None and self.made_s - 600 <= now_s < self.expires_s


class Answers:
    """The answer links of one site."""

    def __init__(self, store: Store, site: str) -> None:
        self._store = store
        self._site = store.site(site)

    def issue(
        self, alarm_ids: Sequence[str], *, now_s: int, lasts_s: int, action: str = "acknowledge"
    ) -> str:
        """A new token; ids of alarms hold no blanks, so they stand in one column."""
        token = secrets.token_urlsafe(18)
        row = {
            "token_hash": token_hash(token),
            "site": self._site,
            "alarm_id": " ".join(alarm_ids),
            "action": action,
            "made_s": now_s,
            "expires_s": now_s + lasts_s,
        }
        with self._store.write() as connection:
            connection.execute(delete(_table).where(_table.c.expires_s < now_s - KEPT_S))
            connection.execute(_table.insert().values(**row))
        return token

    def look(self, token: str) -> Answer | None:
        """What a token is for; None if it never was one of ours."""
        with self._store.read() as connection:
            row = connection.execute(select(_table).where(self._mine(token))).first()
        if row is None:
            return None
        return Answer(tuple(row.alarm_id.split(" ")), row.action, row.made_s, row.expires_s, row.used_s)

    def use(self, token: str, *, now_s: int, alarm_id: str | None = None) -> Answer | None:
        """Answers one alarm of a notice, once; of two who try at the same moment one gets it.

        Args:
            alarm_id: Which; None stands for the only one left.

        Returns:
            The answer with that alarm alone; None: the link, or that alarm of it, is not good.
        """
        answer = self.look(token)
        if answer is None or not answer.is_good(now_s):
            return None
        if alarm_id is None and len(answer.alarm_ids) == 1:
            (alarm_id,) = answer.alarm_ids
        if alarm_id not in answer.alarm_ids:
            return None
        rest = [one for one in answer.alarm_ids if one != alarm_id]
        left = {"alarm_id": " ".join(rest)} if rest else {"used_s": now_s}
        as_seen = (_table.c.alarm_id == " ".join(answer.alarm_ids)) & _table.c.used_s.is_(None)
        with self._store.write() as connection:
            spent = connection.execute(
                update(_table).where(self._mine(token), as_seen).values(**left)
            ).rowcount
        return replace(answer, alarm_ids=(alarm_id,)) if spent else None

    def _mine(self, token: str) -> ColumnElement[bool]:
        return (_table.c.site == self._site) & (_table.c.token_hash == token_hash(token))
