"""Hands notices to channels: never in the tick's thread.

The outbox in the store is the only memory: a notice is planned in the same transaction as the alarm
that asks for it, and stays there until a channel took it or it is no longer worth sending.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from propstick.app.live.answer_links import no_link
from propstick.app.live.courier import Courier
from propstick.edges.journal import Journal
from propstick.edges.outbox import Outgoing
from propstick.errors import StoreError
from propstick.ports import Channel, Clock, Delivery
from propstick.records import Notice

log = logging.getLogger(__name__)

RETRY_AFTER_S = (30, 60, 120, 300, 600, 1800)
"""Waits between tries of one notice; the last repeats. Common practice, no source."""
WORTHLESS_AFTER_S = 6 * 3600
"""A notice this old tells of a sun that has set. It is kept, and not sent."""
DELIVERED = Delivery(ok=True, detail="sent while the store refused")
WORTHLESS = Delivery(ok=False, detail="too old to be of use", final=True)
TROUBLE_AFTER_S = 600
"""Undelivered this long: `push-trouble`."""


@dataclass
class _Unstored:
    """A notice for one channel that the store has not taken yet."""

    notice: Notice
    attempts: int = 0
    next_try_s: int = 0


def _wait_s(attempts: int) -> int:
    return RETRY_AFTER_S[min(attempts, len(RETRY_AFTER_S) - 1)]


class DeliveryDesk:
    """Works through the outbox whenever it is woken.

    Args:
        journal: The store's side of the outbox.
        channels: By name, as planned in the outbox.
        clock: For the age of a notice.
        helpers: Names of channels that are used only when a notice names them.
        link: Gives a notice the link by which it can be answered, or None.
        courier: Does the work; one of its own unless given.
    """

    def __init__(
        self,
        journal: Journal,
        channels: Mapping[str, Channel],
        clock: Clock,
        *,
        helpers: frozenset[str] = frozenset(),
        link: Callable[[Notice], str | None] = no_link,
        courier: Courier | None = None,
    ) -> None:
        self._courier = courier or Courier(at_once=1)
        self._helpers = helpers
        self._link = link
        self._journal = journal
        self._channels = dict(channels)
        self._clock = clock
        self._stopping = False
        self._trouble: dict[str, str] = {}
        self._lock = threading.Lock()
        self._unstored: dict[tuple[str, str], _Unstored] = {}
        self._sent_unnoted: set[tuple[str, str]] = set()

    def route(self, notice: Notice) -> tuple[str, ...]:
        """The channels a notice goes to: one by that name, else all that are the person's own."""
        if notice.to in self._channels:
            return (notice.to,)
        return tuple(name for name in self._channels if name not in self._helpers)

    def start(self) -> None:
        """Begins; the outbox is looked at straight away."""
        self._courier.start()
        self.wake()

    def wake(self) -> None:
        """There may be something to send."""
        self._courier.call(self)

    def send_unstored(self, notices: Sequence[Notice]) -> None:
        """Takes notices the store could not; they are tried like stored ones, from the thread."""
        with self._lock:
            for notice in notices:
                for name in self.route(notice):
                    self._unstored[notice.id, name] = _Unstored(notice)
        self.wake()

    def stop(self, timeout_s: float = 15.0) -> None:
        """Ends after the notice under way."""
        self._stopping = True
        self._courier.part_from(self, timeout_s)

    def trouble(self) -> str:
        """Which channels do not get through, and why; empty while all do."""
        with self._lock:
            return "; ".join(f"{name}: {why}" for name, why in sorted(self._trouble.items()))

    def has_work(self) -> bool:
        """Whether a round may find something to do; cheap where one asks for many sites."""
        with self._lock:
            if self._unstored or self._trouble:
                return True
        return self._journal.outbox.may_hold_some()

    def work(self) -> None:
        """One round. Never raises: the outbox keeps everything, and the next round tries again."""
        if self._stopping:
            return
        try:
            self.work_once()
        except Exception:
            log.exception("delivery-fault")

    def work_once(self) -> int:
        """Tries everything that is due; returns how many were handed over.

        First tries come before repeated ones, and a channel that fails has had its turn: one that hangs
        holds up another by one try, however much waits for it.
        """
        now_s = int(self._clock.wall_s())
        failing: set[str] = set()
        handed = self._try_unstored(now_s, failing)
        if not self._journal.outbox.undelivered():  # nearly always; one question to the store instead of two
            self._look_for_trouble(now_s, ())
            return handed
        for outgoing in sorted(self._journal.outbox.waiting(now_s), key=lambda o: o.attempts):
            if self._stopping:
                break
            if (
                outgoing.channel not in failing
                or (outgoing.notice.id, outgoing.channel) in self._sent_unnoted
            ):
                handed += self._try(outgoing, now_s, failing)
        self._look_for_trouble(now_s, self._journal.outbox.undelivered())
        return handed

    def _try_unstored(self, now_s: int, failing: set[str]) -> int:
        """What the store could not take. Once it has taken a notice, the outbox goes on with it."""
        with self._lock:
            waiting = list(self._unstored.items())
        handed = 0
        for key, one in waiting:
            if self._stopping or key[1] in failing or one.next_try_s > now_s:
                continue
            worthless = now_s - one.notice.issued_s > WORTHLESS_AFTER_S
            result = WORTHLESS if worthless else self._send(one.notice, key[1])
            if result.ok or result.final:
                with self._lock:
                    self._unstored.pop(key, None)
                handed += result.ok
            else:
                failing.add(key[1])
                one.next_try_s = now_s + _wait_s(one.attempts)
                one.attempts += 1
        return handed

    def _send(self, notice: Notice, name: str) -> Delivery:
        """Hands over once; that it was done is remembered until the store knows."""
        result = self._channels[name].send(notice, link=self._link(notice))
        if result.ok:
            self._sent_unnoted.add((notice.id, name))
        return result

    def _try(self, outgoing: Outgoing, now_s: int, failing: set[str]) -> bool:
        notice, name = outgoing.notice, outgoing.channel
        key = (notice.id, name)
        with self._lock:
            self._unstored.pop(key, None)
        if name not in self._channels:
            result = Delivery(ok=False, detail="channel no longer in the garden file", final=True)
        elif key in self._sent_unnoted:
            result = DELIVERED
        elif now_s - notice.issued_s > WORTHLESS_AFTER_S:
            result = WORTHLESS
        else:
            result = self._send(notice, name)
        if not result.ok and not result.final:
            failing.add(name)
        try:
            self._note(outgoing, result, now_s)
        except StoreError as error:
            # A full disk must neither ring the same notice again nor hold up those behind it.
            log.error("delivery-not-noted id=%s channel=%s reason=%r", notice.id, name, error.message)
        return result.ok and result is not DELIVERED

    def _note(self, outgoing: Outgoing, result: Delivery, now_s: int) -> None:
        outbox, key = self._journal.outbox, (outgoing.notice.id, outgoing.channel)
        if result.ok:
            outbox.delivered(*key, now_s)
            self._sent_unnoted.discard(key)
            log.info("notice-sent id=%s channel=%s", *key)
            return
        wait_s = None if result.final else _wait_s(outgoing.attempts)
        outbox.failed(*key, now_s, result.detail, None if wait_s is None else now_s + wait_s)
        log.warning("notice-failed id=%s channel=%s reason=%r retry_s=%s", *key, result.detail, wait_s)

    def _look_for_trouble(self, now_s: int, undelivered: Sequence[Outgoing]) -> None:
        found = {
            o.channel: o.detail or "no answer"
            for o in undelivered
            if o.attempts and now_s - o.notice.issued_s > TROUBLE_AFTER_S
        }
        with self._lock:
            self._trouble = found
