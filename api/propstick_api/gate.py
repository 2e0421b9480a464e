"""Who gets in: sessions and tokens, remembered for a moment; wrong pass phrases, slowed.

On loopback and without a pass phrase everybody on the machine gets in. In any other case a session's
cookie or a bearer token is needed, for reading and writing alike.
"""

from __future__ import annotations

import ipaddress
import threading
import time
from collections import OrderedDict
from collections.abc import Callable

from propstick.edges.access import AccessBook, Tries, token_hash
from propstick.errors import StoreError
from propstick.ports import Clock
from propstick.times import DAY_S

COOKIE = "propstick"
SESSION_S = 90 * DAY_S
FREE_TRIES = 3
LONGEST_WAIT_S = 60
"""Waits double from one second after three wrong phrases. Bounded: whoever knows the phrase must not be
kept out by one who does not."""
REMEMBERED_S = 30.0
PHRASE_REMEMBERED_S = 3.0
_MOST_REMEMBERED = 500


def is_loopback(listen: str) -> bool:
    """Whether an address is reached from this machine only."""
    try:
        return ipaddress.ip_address(listen.strip("[]")).is_loopback
    except ValueError:
        return listen == "localhost"


class Gate:
    """Decides for each request; threads may share it.

    Args:
        book: Opens the store's side of it; asked late, for the store may not be there yet.
        listen: The address the service listens on.
        always_asks: Nobody gets in without a credential, not even from this machine: where many gardens are
            served, a garden without a pass phrase is shut.
        clock: For how long sessions and waits last.
        monotonic: For how long an answer of the store is remembered.
    """

    def __init__(
        self,
        book: Callable[[], AccessBook],
        *,
        listen: str,
        clock: Clock,
        always_asks: bool = False,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._book = book
        self._monotonic = monotonic
        self._is_open_to_all = is_loopback(listen) and not always_asks
        self._clock = clock
        self._lock = threading.Lock()
        self._looking = threading.Lock()
        self._has_phrase: bool | None = None
        self._phrase_until_s = 0.0
        self._good: OrderedDict[str, float] = OrderedDict()

    def known_to_ask(self) -> bool | None:
        """Whether a credential is needed, if that is known without asking the store."""
        if not self._is_open_to_all:
            return True
        with self._lock:
            return self._has_phrase if self._monotonic() < self._phrase_until_s else None

    def is_asking(self) -> bool:
        """Whether a credential is needed."""
        known = self.known_to_ask()
        if known is not None:
            return known
        try:
            has_phrase = self._book().has_passphrase()
        except StoreError as error:
            # No store yet: nothing to see and no phrase. A store in trouble keeps what was known.
            has_phrase = bool(self._has_phrase) if error.reason != "missing" else False
        with self._lock:
            self._has_phrase, self._phrase_until_s = has_phrase, self._monotonic() + PHRASE_REMEMBERED_S
        return has_phrase

    def remembers(self, token: str) -> bool:
        """Whether the token was found good a moment ago."""
        with self._lock:
            return self._good.get(token_hash(token), 0.0) > self._monotonic()

    def lets_in(self, token: str) -> bool:
        """Whether the token is that of a session.

        Raises:
            StoreError: the store cannot be asked.
        """
        hashed = token_hash(token)
        until_s = self._book().session_until(hashed, now_s=self._now_s)
        with self._lock:
            self._good.pop(hashed, None)
            if until_s is None:
                return False
            self._good[hashed] = self._monotonic() + min(REMEMBERED_S, until_s - self._now_s)
            if len(self._good) > _MOST_REMEMBERED:
                self._good.popitem(last=False)
        return True

    def sign_in(self, phrase: str, *, label: str) -> str | int | None:
        """Tries a pass phrase.

        Returns:
            A session's token; or the seconds to wait before another try is looked at; or None: wrong.

        Raises:
            StoreError: the store cannot be asked.
        """
        book = self._book()
        if not self._looking.acquire(blocking=False):
            return 1  # one at a time: each takes 16 MiB
        try:
            tries, now_s = book.tries(), self._now_s
            left_s = tries.wait_until_s - now_s
            if 0 < left_s <= LONGEST_WAIT_S:  # a longer one was written by a clock set back since
                return left_s
            if not book.matches(phrase):
                failed = tries.failed + 1
                wait_s = 0 if failed < FREE_TRIES else min(LONGEST_WAIT_S, 2 ** min(failed - FREE_TRIES, 10))
                book.note_tries(Tries(failed, now_s + wait_s), now_s=now_s)
                return None
            if tries.failed:
                book.note_tries(Tries(), now_s=now_s)
            return book.open_session(label, now_s=now_s, lasts_s=SESSION_S)
        finally:
            self._looking.release()

    def sign_out(self, token: str) -> None:
        """Ends the session of a token."""
        with self._lock:
            self._good.pop(token_hash(token), None)
        self._book().close_session(token)

    @property
    def _now_s(self) -> int:
        return int(self._clock.wall_s())
