"""Wireless probes, remote requests and retained topics, through an MQTT broker.

The line's thread only puts messages into a bounded store here; the watch takes them at its row. A
message is acknowledged after the row that holds it is committed, so a death in between makes the
broker send it again. Retained topics are kept here as they should stand and told to the broker
again at each connection: while it is away nothing queues up, and a broker that forgot is put right.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from paho.mqtt.client import MQTTMessage

from propstick.edges.mqtt_client import BrokerSettings
from propstick.edges.mqtt_line import Line, top
from propstick.edges.mqtt_payloads import LARGEST_PACK_BYTES, PackDesk, node_name, request_of
from propstick.errors import InputError
from propstick.records import Reading

log = logging.getLogger(__name__)

MOST_WAITING = 500
"""Messages held for the next row; what does not fit stays with the broker, or falls if QoS 0."""
MOST_UNCOMMITTED = 100
"""Beyond this many taken and not yet stored, the oldest are acknowledged all the same: while the store
refuses, readings must go on arriving, since being warned comes before being recorded."""
REMEMBERED = 256
"""Acknowledged messages known again if the acknowledgement never reached the broker."""
MOST_TOPICS = 2000


@dataclass(eq=False)
class _Held:
    """A message from arrival to acknowledgement."""

    topic: str
    payload: bytes
    mid: int
    qos: int
    arrival_ms: int
    connection: int

    def is_same(self, other: _Held) -> bool:
        """Whether the other is this message, delivered again."""
        return self.qos > 0 and (self.mid, self.topic, self.payload) == (
            other.mid, other.topic, other.payload,
        )  # fmt: skip


class Broker:
    """One site's side of a broker: `ports.Inbox`, `ports.Publisher`, and remote requests.

    Args:
        settings: Where the broker is, and who we are there.
        site: Topics are `propstick/<site>/…`.
        now_s: UTC seconds, for packs whose times count from their arrival. The watch passes the time
            of its row clock, which goes on while the machine's clock is unset.
        seen: Packs already stored in an earlier life, from `seen()`.
        line: The connection, where several sites share one; None: one of its own.

    Raises:
        ConfigError: the CA file cannot be used.
    """

    def __init__(
        self,
        settings: BrokerSettings,
        site: str,
        *,
        now_s: Callable[[], float] = time.time,
        seen: Mapping[str, Sequence[str]] | None = None,
        line: Line | None = None,
    ) -> None:
        self.site = site
        self._line = line or Line(settings, [site])
        self.counts = self._line.counts
        self._prefix = top(site)
        self._now_s = now_s
        self._packs = PackDesk(seen)
        self._lock = threading.Lock()
        self._waiting: list[_Held] = []
        self._requests_waiting: list[_Held] = []
        self._taken: list[_Held] = []
        self._done: deque[_Held] = deque(maxlen=REMEMBERED)
        self._telling = threading.Lock()
        self._retained: OrderedDict[str, str] = OrderedDict()
        self._strays: set[str] = set()
        self._connected = threading.Event()
        self._why = ""
        self._line.join(self)

    # Connection

    def start(self) -> None:
        """Begins to connect, and never gives up. Returns at once."""
        self._line.start()

    def stop(self, timeout_s: float = 5.0) -> None:
        """Says `off` and leaves politely: a broker publishes no will for who said goodbye."""
        if self._connected.is_set():
            farewell = self._line.publish(self._prefix + "watch", "off")
            if self._line.is_shared:
                farewell = self._line.publish(self._prefix + "watch/by", "")
            try:
                farewell.wait_for_publish(timeout_s)
            except (RuntimeError, ValueError) as error:
                log.warning("mqtt-farewell-lost reason=%r", str(error))
        self._line.leave(self)

    def wait_connected(self, timeout_s: float) -> bool:
        """Waits for the connection; for start-up and tests, never for the tick."""
        return self._connected.wait(timeout_s)

    def trouble(self) -> str:
        """Why there is no connection; empty while there is one."""
        return "" if self._connected.is_set() else self._why or self._line.why

    # Inbox

    def take(self) -> tuple[Reading, ...]:
        """All readings that came since the last take, in order of arrival."""
        self._line.revive()
        with self._lock:
            held, self._waiting = self._waiting, []
            too_many, self._taken = self._taken[:-MOST_UNCOMMITTED], self._taken[-MOST_UNCOMMITTED:]
            self._taken.extend(held)
        self._acknowledge(too_many)
        readings: list[Reading] = []
        for message in held:
            node = message.topic.removeprefix(self._prefix + "readings/")
            try:
                found = self._packs.readings(node_name(node), message.payload, arrival_ms=message.arrival_ms)
            except InputError as error:
                self._refuse("pack", message.topic, error)
                continue
            if found is None:
                self.counts["double-pack"] += 1
            else:
                readings.extend(found)
        return tuple(readings)

    def take_requests(self) -> tuple[tuple[str, dict[str, Any]], ...]:
        """What was asked for from afar since the last take, as (kind, body)."""
        with self._lock:
            held, self._requests_waiting = self._requests_waiting, []
            self._taken.extend(held)
        requests = []
        for message in held:
            try:
                requests.append(request_of(message.payload))
            except InputError as error:
                self._refuse("request", message.topic, error)
        return tuple(requests)

    def committed(self) -> None:
        """What was taken is stored: acknowledges it."""
        with self._lock:
            taken, self._taken = self._taken, []
        self._acknowledge(taken)

    def _acknowledge(self, messages: Sequence[_Held]) -> None:
        with self._lock:
            self._done.extend(message for message in messages if message.qos)
            # A message number of an earlier connection may by now belong to another message.
            current = [m for m in messages if m.connection == self._line.connection]
        for message in current:
            self._line.acknowledge(message.mid, message.qos)

    def seen(self) -> dict[str, list[str]]:
        """Packs without absolute time that were taken; give it to the next life's `Broker`."""
        return self._packs.seen()

    # Publisher

    def publish(self, topic: str, payload: str, *, retain: bool = True) -> bool:
        """Queues the message under the site's topics; False if it was dropped.

        A retained one is remembered and told at the next connection; an empty payload clears it.
        """
        full = self._prefix + topic
        with self._telling:
            if retain:
                self._retained[full] = payload
                self._retained.move_to_end(full)
                if len(self._retained) > MOST_TOPICS:
                    self._retained.popitem(last=False)
            if not self._connected.is_set():
                return retain
            if retain and not payload:
                del self._retained[full]
            return self._line.publish(full, payload, retain=retain).rc == 0

    def strays(self) -> frozenset[str]:
        """Alarm topics that stand at the broker and were never published in this life; each is said once."""
        with self._telling:
            found, self._strays = frozenset(self._strays), set()
        return found

    # The line's thread

    def listens(self) -> None:
        """The broker hears for us: tells it what stands."""
        with self._telling:
            self._line.publish(self._prefix + "watch", "on")
            if self._line.is_shared:
                own = self._line.will_topic == self._prefix + "watch"
                self._line.publish(self._prefix + "watch/by", "" if own else self._line.will_topic)
            for topic, payload in self._retained.items():
                self._line.publish(topic, payload)
            for topic in [topic for topic, payload in self._retained.items() if not payload]:
                del self._retained[topic]
            self._why = ""
            self._connected.set()

    def lost(self, why: str) -> None:
        """Until the next connection."""
        self._why = why
        self._connected.clear()

    def arrived(self, message: MQTTMessage) -> None:
        """Keeps a message for the next row."""
        if message.topic.startswith(self._prefix + "alarms/"):
            self._note_standing(message)
            return
        if message.retain:
            # Kept by the broker from before we listened: a stale value, or a wish long carried out.
            self.counts["retained"] += 1
            self._line.acknowledge(message.mid, message.qos)
            return
        if len(message.payload) > LARGEST_PACK_BYTES:
            self._refuse("message", message.topic, InputError(f"got {len(message.payload)} bytes"))
            self._line.acknowledge(message.mid, message.qos)
            return
        arrival_ms = round(self._now_s() * 1000)
        is_request = message.topic == self._prefix + "requests"
        with self._lock:
            held = _Held(
                message.topic, message.payload, message.mid, message.qos, arrival_ms, self._line.connection
            )
            if message.dup and self._is_known_again(held):
                self.counts["redelivered"] += 1
                return
            if len(self._waiting) + len(self._requests_waiting) + len(self._taken) >= MOST_WAITING:
                self.counts["overflow"] += 1
                return
            (self._requests_waiting if is_request else self._waiting).append(held)

    def _note_standing(self, message: MQTTMessage) -> None:
        with self._telling:
            if message.retain and message.payload and message.topic not in self._retained:
                self._strays.add(message.topic.removeprefix(self._prefix))

    def _is_known_again(self, again: _Held) -> bool:
        """Whether a redelivered message is here already.

        One still held will be acknowledged as the new one; one done with is acknowledged again.
        """
        for held in (*self._taken, *self._waiting, *self._requests_waiting):
            if held.is_same(again):
                held.connection = again.connection
                return True
        if any(done.is_same(again) for done in self._done):
            self._line.acknowledge(again.mid, again.qos)
            return True
        return False

    def _refuse(self, what: str, topic: str, error: InputError) -> None:
        self.counts[f"wrong-{what}"] += 1
        self._line.log_once(f"mqtt-wrong-{what} topic={topic[:80]!r}", error.message)
