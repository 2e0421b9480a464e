"""One question to the database for all sites of a daemon, where each would otherwise ask its own.

Two thousand sites that ask for requests, sowings and notices at every row would spend a sixth of their
time on hearing that there are none.
"""

from __future__ import annotations

import threading
from collections.abc import Callable

from sqlalchemy import func, select

from propstick.edges import schema
from propstick.edges.store import Store
from propstick.errors import StoreError

FRESH_S = 1.0
"""An answer is given again for so long. Rows begin as they fall due, so the first of many asks anew."""


class Glance:
    """What is new in a store for any of its sites.

    Args:
        now_s: Seconds that only go forward.
    """

    def __init__(self, store: Store, now_s: Callable[[], float]) -> None:
        self._store = store
        self._now_s = now_s
        self._lock = threading.Lock()
        self._sites: set[int] = set()
        self._at_s = float("-inf")
        self._requests: frozenset[int] = frozenset()
        self._notices: frozenset[int] = frozenset()
        self._sowings = 0
        self._refused: StoreError | None = None

    def add(self, site: int) -> None:
        """One more site to ask for."""
        with self._lock:
            self._sites.add(site)
            self._at_s = float("-inf")

    def has_requests(self, site: int) -> bool:
        """Whether a request of the site waits.

        Raises:
            StoreError: the store could not be asked; so the other two.
        """
        self._look()
        return site in self._requests

    def has_notices(self, site: int) -> bool:
        """Whether a notice of the site has still to be taken by a channel."""
        self._look()
        return site in self._notices

    def sowings_revision(self) -> int:
        """As `Sowings.revision`: it is one for the whole store."""
        self._look()
        return self._sowings

    def _look(self) -> None:
        with self._lock:
            if self._now_s() - self._at_s >= FRESH_S:
                self._ask()
                self._at_s = self._now_s()
            if self._refused is not None:
                raise self._refused

    def _ask(self) -> None:
        requests, outbox, changes = schema.requests.c, schema.outbox.c, schema.sowing_changes.c
        waiting = select(requests.site).where(requests.taken_row_s.is_(None))
        unsent = select(outbox.site).where(outbox.next_try_s.is_not(None), outbox.delivered_s.is_(None))
        try:
            with self._store.read() as connection:
                mine = sorted(self._sites)
                self._requests = frozenset(connection.scalars(waiting.where(requests.site.in_(mine))))
                self._notices = frozenset(connection.scalars(unsent.where(outbox.site.in_(mine))))
                self._sowings = int(connection.scalar(select(func.max(changes.id))) or 0)
            self._refused = None
        except StoreError as error:
            self._refused = error
