"""Hands notices to channels: one thread, never the tick's.

The outbox in the store is the only memory: a notice is planned in the same transaction as the alarm
that asks for it, and stays there until a channel took it or it is no longer worth sending.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping, Sequence

from propstick.app.answer_links import no_link
from propstick.edges.journal import Journal
from propstick.edges.outbox import Outgoing
from propstick.ports import Channel, Clock, Delivery
from propstick.records import Notice

log = logging.getLogger(__name__)

RETRY_AFTER_S = (30, 60, 120, 300, 600, 1800)
"""Waits between tries of one notice; the last repeats. Common practice, no source."""
WORTHLESS_AFTER_S = 6 * 3600
"""A notice this old tells of a sun that has set. It is kept, and not sent."""
DELIVERED = Delivery(ok=True, detail="sent while the store refused")
TROUBLE_AFTER_S = 600
"""Undelivered this long: `push-trouble`."""


class DeliveryDesk:
    """Works through the outbox whenever it is woken.

    Args:
        journal: The store's side of the outbox.
        channels: By name, as planned in the outbox.
        clock: For the age of a notice.
        helpers: Names of channels that are used only when a notice names them.
        link: Gives a notice the link by which it can be answered, or None.
    """

    def __init__(
        self,
        journal: Journal,
        channels: Mapping[str, Channel],
        clock: Clock,
        *,
        helpers: frozenset[str] = frozenset(),
        link: Callable[[Notice], str | None] = no_link,
    ) -> None:
        self._helpers = helpers
        self._link = link
        self._journal = journal
        self._channels = dict(channels)
        self._clock = clock
        self._wanted = threading.Event()
        self._stopping = False
        self._thread: threading.Thread | None = None
        self._trouble: dict[str, str] = {}
        self._lock = threading.Lock()
        self._unstored: list[Notice] = []
        self._sent_unstored: set[tuple[str, str]] = set()

    def route(self, notice: Notice) -> tuple[str, ...]:
        """The channels a notice goes to: one by that name, else all that are the person's own."""
        if notice.to in self._channels:
            return (notice.to,)
        return tuple(name for name in self._channels if name not in self._helpers)

    def start(self) -> None:
        """Starts the thread; it looks at the outbox at once."""
        self._thread = threading.Thread(target=self._work, name="delivery", daemon=True)
        self._thread.start()
        self.wake()

    def wake(self) -> None:
        """There may be something to send."""
        self._wanted.set()

    def send_unstored(self, notices: Sequence[Notice]) -> None:
        """Takes notices the store could not; they are tried once each, from the thread."""
        with self._lock:
            self._unstored.extend(notices)
        self.wake()

    def stop(self, timeout_s: float = 15.0) -> None:
        """Ends the thread after the notice under way."""
        self._stopping = True
        self._wanted.set()
        if self._thread is not None:
            self._thread.join(timeout_s)

    def trouble(self) -> str:
        """Which channels do not get through, and why; empty while all do."""
        with self._lock:
            return "; ".join(f"{name}: {why}" for name, why in sorted(self._trouble.items()))

    def work_once(self) -> int:
        """Tries everything that is due; returns how many were handed over."""
        now_s = int(self._clock.wall_s())
        handed = self._try_unstored()
        if not self._journal.outbox.undelivered():  # nearly always; one question to the store instead of two
            self._look_for_trouble(now_s, ())
            return handed
        for outgoing in self._journal.outbox.waiting(now_s):
            if self._stopping:
                break
            handed += self._try(outgoing, now_s)
        self._look_for_trouble(now_s, self._journal.outbox.undelivered())
        return handed

    def _try_unstored(self) -> int:
        with self._lock:
            notices, self._unstored = self._unstored, []
        handed = 0
        for notice in notices:
            for name in self.route(notice):
                if self._channels[name].send(notice, link=self._link(notice)).ok:
                    self._sent_unstored.add((notice.id, name))
                    handed += 1
        return handed

    def _try(self, outgoing: Outgoing, now_s: int) -> bool:
        outbox, notice = self._journal.outbox, outgoing.notice
        channel = self._channels.get(outgoing.channel)
        if channel is None:
            outbox.failed(notice.id, outgoing.channel, now_s, "channel no longer in the garden file", None)
            return False
        if now_s - notice.issued_s > WORTHLESS_AFTER_S:
            outbox.failed(notice.id, outgoing.channel, now_s, "too old to be of use", None)
            return False
        already = (notice.id, outgoing.channel) in self._sent_unstored
        result = DELIVERED if already else channel.send(notice, link=self._link(notice))
        if result.ok:
            outbox.delivered(notice.id, outgoing.channel, now_s)
            log.info("notice-sent id=%s channel=%s", notice.id, outgoing.channel)
            return True
        wait_s = RETRY_AFTER_S[min(outgoing.attempts, len(RETRY_AFTER_S) - 1)]
        retry_at_s = None if result.final else now_s + wait_s
        outbox.failed(notice.id, outgoing.channel, now_s, result.detail, retry_at_s)
        log.warning(
            "notice-failed id=%s channel=%s reason=%r retry_s=%s",
            notice.id, outgoing.channel, result.detail, None if result.final else wait_s,
        )  # fmt: skip
        return False

    def _look_for_trouble(self, now_s: int, undelivered: Sequence[Outgoing]) -> None:
        found = {
            o.channel: o.detail or "no answer"
            for o in undelivered
            if o.attempts and now_s - o.notice.issued_s > TROUBLE_AFTER_S
        }
        with self._lock:
            self._trouble = found

    def _work(self) -> None:
        while not self._stopping:
            self._wanted.wait(timeout=RETRY_AFTER_S[0])
            self._wanted.clear()
            try:
                self.work_once()
            except Exception:  # the outbox keeps everything; the next round tries again
                log.exception("delivery-fault")
