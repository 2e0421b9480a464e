"""Wireless probes, remote requests and retained topics, through an MQTT broker.

paho's own thread only puts messages into a bounded store here; the watch takes them at its row. A
message is acknowledged after the row that holds it is committed, so a death in between makes the
broker send it again. Retained topics are kept here as they should stand and told to the broker
again at each connection: while it is away nothing queues up, and a broker that forgot is put right.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import Counter, OrderedDict, deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import wraps
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from propstick.edges.mqtt_client import BrokerSettings, connect, make_client
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
MOST_OUTGOING = MOST_TOPICS + 100
"""All retained topics at once, as after a reconnection, and some more. paho's own default is no bound."""
RECONNECT_S = (1, 120)


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


def _safe(callback: Callable[..., None]) -> Callable[..., None]:
    """An exception in a callback would end paho's thread, silently and for good."""

    @wraps(callback)
    def guarded(self: Broker, *args: Any) -> None:
        self._network_thread = threading.current_thread()
        try:
            callback(self, *args)
        except Exception:
            self.counts["callback-fault"] += 1
            log.exception("mqtt-callback-fault")

    return guarded


class Broker:
    """One site's side of a broker: `ports.Inbox`, `ports.Publisher`, and remote requests.

    Args:
        settings: Where the broker is, and who we are there.
        site: Topics are `propstick/<site>/…`.
        now_s: UTC seconds, for packs whose times count from their arrival. The watch passes the time
            of its row clock, which goes on while the machine's clock is unset.
        seen: Packs already stored in an earlier life, from `seen()`.

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
    ) -> None:
        self.counts: Counter[str] = Counter()
        self._settings = settings
        self._prefix = f"propstick/{site}/"
        self._now_s = now_s
        self._packs = PackDesk(seen)
        self._lock = threading.Lock()
        self._waiting: list[_Held] = []
        self._requests_waiting: list[_Held] = []
        self._taken: list[_Held] = []
        self._done: deque[_Held] = deque(maxlen=REMEMBERED)
        self._telling = threading.Lock()
        self._retained: OrderedDict[str, str] = OrderedDict()
        self._connection = 0
        self._connected = threading.Event()
        self._why = "not started"
        self._network_thread: threading.Thread | None = None
        self._client = make_client(settings, settings.client_id or f"propstick-{site}")
        self._client.max_queued_messages_set(MOST_OUTGOING)
        self._client.reconnect_delay_set(*RECONNECT_S)
        self._client.will_set(self._prefix + "watch", "off", qos=1, retain=True)
        self._client.on_connect = self._on_connect
        self._client.on_connect_fail = self._on_connect_fail
        self._client.on_disconnect = self._on_disconnect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message

    # Connection

    def start(self) -> None:
        """Begins to connect, and never gives up. Returns at once."""
        self._why = "not connected yet"
        connect(self._client, self._settings, keep_session=True)
        self._client.loop_start()

    def stop(self, timeout_s: float = 5.0) -> None:
        """Says `off` and leaves politely: a broker publishes no will for who said goodbye."""
        if self._connected.is_set():
            farewell = self._client.publish(self._prefix + "watch", "off", qos=1, retain=True)
            try:
                farewell.wait_for_publish(timeout_s)
            except (RuntimeError, ValueError) as error:
                log.warning("mqtt-farewell-lost reason=%r", str(error))
        self._client.disconnect()
        self._client.loop_stop()

    def wait_connected(self, timeout_s: float) -> bool:
        """Waits for the connection; for start-up and tests, never for the tick."""
        return self._connected.wait(timeout_s)

    def trouble(self) -> str:
        """Why there is no connection; empty while there is one."""
        return "" if self._connected.is_set() else self._why

    # Inbox

    def take(self) -> tuple[Reading, ...]:
        """All readings that came since the last take, in order of arrival."""
        self._revive()
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
            current = [m for m in messages if m.qos and m.connection == self._connection]
        for message in current:
            self._client.ack(message.mid, message.qos)

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
            return self._client.publish(full, payload, qos=1, retain=retain).rc == 0

    # paho's thread

    @_safe
    def _on_connect(
        self, client: Client, userdata: Any, flags: ConnectFlags, reason: ReasonCode, properties: Any
    ) -> None:
        if reason.is_failure:
            self._why = f"the broker refused: {reason}"
            self._log_once("mqtt-refused", str(reason))
            return
        with self._lock:
            self._connection += 1
        log.info("mqtt-connected host=%s session=%s", self._settings.host, flags.session_present)
        # Told again at every connection, so that a session of an earlier release learns new topics.
        topics = [self._prefix + "readings/+", self._prefix + "requests"]
        if self._settings.version == "5":
            fresh = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND)
            client.subscribe([(topic, fresh) for topic in topics])
        else:
            client.subscribe([(topic, 1) for topic in topics])

    @_safe
    def _on_subscribe(
        self, client: Client, userdata: Any, mid: int, reasons: list[ReasonCode], properties: Any
    ) -> None:
        """Only now does the broker hear for us: what a node says from here on will arrive."""
        refused = [str(reason) for reason in reasons if reason.is_failure]
        if refused:
            self._why = f"the broker does not let us listen: {refused[0]}"
            self._log_once("mqtt-deaf", self._why)
            return
        with self._telling:
            client.publish(self._prefix + "watch", "on", qos=1, retain=True)
            for topic, payload in self._retained.items():
                client.publish(topic, payload, qos=1, retain=True)
            self._connected.set()

    @_safe
    def _on_connect_fail(self, client: Client, userdata: Any) -> None:
        self._why = f"no answer from {self._settings.host}:{self._settings.port}"
        self._log_once("mqtt-unreachable", self._why)

    @_safe
    def _on_disconnect(
        self, client: Client, userdata: Any, flags: Any, reason: ReasonCode, properties: Any
    ) -> None:
        if self._connected.is_set():
            self._why = f"connection lost: {reason}"
            log.info("mqtt-disconnected reason=%r", str(reason))
        self._connected.clear()

    @_safe
    def _on_message(self, client: Client, userdata: Any, message: MQTTMessage) -> None:
        if message.retain:
            # Kept by the broker from before we listened: a stale value, or a wish long carried out.
            self.counts["retained"] += 1
            self._acknowledge_now(message)
            return
        if len(message.payload) > LARGEST_PACK_BYTES:
            self._refuse("message", message.topic, InputError(f"got {len(message.payload)} bytes"))
            self._acknowledge_now(message)
            return
        arrival_ms = round(self._now_s() * 1000)
        is_request = message.topic == self._prefix + "requests"
        with self._lock:
            held = _Held(
                message.topic, message.payload, message.mid, message.qos, arrival_ms, self._connection
            )
            if message.dup and self._is_known_again(held):
                self.counts["redelivered"] += 1
                return
            if len(self._waiting) + len(self._requests_waiting) + len(self._taken) >= MOST_WAITING:
                self.counts["overflow"] += 1
                return
            (self._requests_waiting if is_request else self._waiting).append(held)

    def _is_known_again(self, again: _Held) -> bool:
        """Whether a redelivered message is here already.

        One still held will be acknowledged as the new one; one done with is acknowledged again.
        """
        for held in (*self._taken, *self._waiting, *self._requests_waiting):
            if held.is_same(again):
                held.connection = again.connection
                return True
        if any(done.is_same(again) for done in self._done):
            self._client.ack(again.mid, again.qos)
            return True
        return False

    def _acknowledge_now(self, message: MQTTMessage) -> None:
        if message.qos:
            self._client.ack(message.mid, message.qos)

    def _refuse(self, what: str, topic: str, error: InputError) -> None:
        self.counts[f"wrong-{what}"] += 1
        self._log_once(f"mqtt-wrong-{what} topic={topic[:80]!r}", error.message)

    def _log_once(self, kind: str, reason: str) -> None:
        """A node that sends rubbish every minute must not fill the log."""
        key = f"logged {kind}"
        self.counts[key] += 1
        if self.counts[key] & (self.counts[key] - 1) == 0:  # the 1st, 2nd, 4th, 8th … time
            log.warning("%s reason=%r times=%d", kind, reason, self.counts[key])

    def _revive(self) -> None:
        """Starts paho's thread again should it ever have died."""
        thread = self._network_thread
        if thread is None or thread.is_alive() or thread is threading.main_thread():
            return
        self.counts["thread-revived"] += 1
        log.error("mqtt-thread-died; starting it again")
        self._network_thread = None
        self._connected.clear()
        self._client.loop_stop()
        connect(self._client, self._settings, keep_session=True)
        self._client.loop_start()
