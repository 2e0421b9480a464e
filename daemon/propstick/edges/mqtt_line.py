"""A connection to a broker, shared by the sites of a daemon that come to it in the same way.

One socket, one session at the broker and one thread of paho's, however many sites there are; a message
finds its site by its topic. A connection has one will only: it is the `watch` topic of the first site.
"""

from __future__ import annotations

import logging
import threading
from collections import Counter
from collections.abc import Callable, Sequence
from functools import wraps
from typing import Any, Protocol

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage, MQTTMessageInfo
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from propstick.edges.mqtt_client import BrokerSettings, connect, make_client

log = logging.getLogger(__name__)

MOST_OUTGOING = 2100
"""Messages of one site on their way out, as after a reconnection. paho's own default is no bound."""
RECONNECT_S = (1, 120)
MOST_COUNTED = 2500
"""Things counted apart: more than one for each of a daemon's sites. Whoever may publish can invent topics
without end."""
SITES_A_SUBSCRIPTION = 25
"""Sites in one SUBSCRIBE: some kilobytes, which any broker takes."""


class Side(Protocol):
    """A site's side of the line. All but `site` is called from paho's thread."""

    site: str

    def listens(self) -> None:
        """The broker hears for the site: what a node says from here on will arrive."""

    def lost(self, why: str) -> None:
        """Nothing comes or goes."""

    def arrived(self, message: MQTTMessage) -> None:
        """A message under the site's topics."""


def top(site: str) -> str:
    """What all topics of a site begin with."""
    return f"propstick/{site}/"


def _topics(site: str) -> list[str]:
    """What is listened to for a site: readings, requests, and alarms as they stand."""
    return [top(site) + "readings/+", top(site) + "requests", top(site) + "alarms/+/+"]


def _safe(callback: Callable[..., None]) -> Callable[..., None]:
    """An exception in a callback would end paho's thread, silently and for good."""

    @wraps(callback)
    def guarded(self: Line, *args: Any) -> None:
        self.network_thread = threading.current_thread()
        try:
            callback(self, *args)
        except Exception:
            self.counts["callback-fault"] += 1
            log.exception("mqtt-callback-fault")

    return guarded


class Line:
    """The connection: begins with the first site that starts, ends with the last that leaves.

    Its name at the broker, and so its session, is that of the first site in the alphabet: a site belongs to
    one daemon, so no two have that name, and whoever takes over the same sites is given what waited for them.

    Args:
        settings: Where the broker is, and who we are there.
        sites: All that will join.

    Raises:
        ConfigError: the CA file cannot be used.
    """

    def __init__(self, settings: BrokerSettings, sites: Sequence[str]) -> None:
        first = min(sites)
        self.counts: Counter[str] = Counter()
        self.will_topic = top(first) + "watch"
        self.connection = 0
        self._is_up = False
        self.why = "not started"
        self.network_thread: threading.Thread | None = None
        self._settings = settings
        self.is_shared = len(sites) > 1
        self._size = len(sites)
        self._lock = threading.Lock()
        self._is_started = False
        self._sides: dict[str, Side] = {}
        self._left: set[str] = set()
        self._asked: dict[int, list[Side]] = {}
        self.client = make_client(settings, settings.client_id or f"propstick-{first}")
        self.client.max_queued_messages_set(MOST_OUTGOING * self._size)
        self.client.reconnect_delay_set(*RECONNECT_S)
        self.client.will_set(self.will_topic, "off", qos=1, retain=True)
        self.client.on_connect = self._on_connect
        self.client.on_connect_fail = self._on_connect_fail
        self.client.on_disconnect = self._on_disconnect
        self.client.on_subscribe = self._on_subscribe
        self.client.on_message = self._on_message

    def join(self, side: Side) -> None:
        """A site that will be listened for; before the start."""
        self._sides[side.site] = side

    def start(self) -> None:
        """Begins to connect, unless another site has, and never gives up. Returns at once."""
        with self._lock:
            if self._is_started:
                return
            self._is_started = True
        self.why = "not connected yet"
        self._connect()

    def leave(self, side: Side) -> None:
        """Nothing more for this site; what comes for it stays with the broker. The last one hangs up."""
        with self._lock:
            self._left.add(side.site)
            self._sides.pop(side.site, None)
            if self._sides:
                return
        self.client.disconnect()
        self.client.loop_stop()

    def publish(self, topic: str, payload: str, *, retain: bool = True) -> MQTTMessageInfo:
        """Queues a message; never waits for the network."""
        return self.client.publish(topic, payload, qos=1, retain=retain)

    def acknowledge(self, message_id: int, qos: int) -> None:
        """The broker need not send it again."""
        if qos:
            self.client.ack(message_id, qos)

    def revive(self) -> None:
        """Starts paho's thread again should it ever have died."""
        with self._lock:
            thread = self.network_thread
            if thread is None or thread.is_alive() or thread is threading.main_thread():
                return
            self.network_thread = None
        self.counts["thread-revived"] += 1
        log.error("mqtt-thread-died; starting it again")
        self._all_lost("the connection's thread died")
        self.client.loop_stop()
        self._connect()

    def log_once(self, kind: str, reason: str) -> None:
        """A node that sends rubbish every minute must not fill the log."""
        key = f"logged {kind}"
        if key not in self.counts and len(self.counts) >= MOST_COUNTED:
            key = "logged others"
        self.counts[key] += 1
        if self.counts[key] & (self.counts[key] - 1) == 0:  # the 1st, 2nd, 4th, 8th … time
            log.warning("%s reason=%r times=%d", kind, reason, self.counts[key])

    def _connect(self) -> None:
        connect(self.client, self._settings, keep_session=True, sites=self._size)
        self.client.loop_start()

    def _all_lost(self, why: str) -> None:
        self.why = why
        for side in list(self._sides.values()):
            side.lost(why)

    # paho's thread

    @_safe
    def _on_connect(
        self, client: Client, userdata: Any, flags: ConnectFlags, reason: ReasonCode, properties: Any
    ) -> None:
        if reason.is_failure:
            self._all_lost(f"the broker refused: {reason}")
            self.log_once("mqtt-refused", str(reason))
            return
        self.connection += 1
        self._is_up = True
        log.info("mqtt-connected host=%s session=%s", self._settings.host, flags.session_present)
        # Told again at every connection, so that a session of an earlier release learns new topics.
        self._asked.clear()
        sides = list(self._sides.values())
        for k in range(0, len(sides), SITES_A_SUBSCRIPTION):
            part = sides[k : k + SITES_A_SUBSCRIPTION]
            wanted = [(side, topic) for side in part for topic in self._subscriptions(side.site)]
            _, message_id = client.subscribe([topic for _, topic in wanted])
            if message_id is not None:
                self._asked[message_id] = [side for side, _ in wanted]

    def _subscriptions(self, site: str) -> list[tuple[str, Any]]:
        """Readings and requests as they come; alarms as they stand, to find what a life before left there."""
        *coming, standing = _topics(site)
        if self._settings.version != "5":
            return [*((topic, 1) for topic in coming), (standing, 0)]
        fresh = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND)
        kept = SubscribeOptions(qos=0, noLocal=True, retainHandling=SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE)
        return [*((topic, fresh) for topic in coming), (standing, kept)]

    @_safe
    def _on_subscribe(
        self, client: Client, userdata: Any, mid: int, reasons: list[ReasonCode], properties: Any
    ) -> None:
        asked = self._asked.pop(mid, [])
        deaf = {
            side.site: str(reason) for side, reason in zip(asked, reasons, strict=False) if reason.is_failure
        }
        for side in dict.fromkeys(asked):
            if side.site in deaf:
                why = f"the broker does not let us listen: {deaf[side.site]}"
                side.lost(why)
                self.log_once(f"mqtt-deaf site={side.site}", why)
            elif side.site not in self._left:
                side.listens()

    @_safe
    def _on_connect_fail(self, client: Client, userdata: Any) -> None:
        why = f"no answer from {self._settings.host}:{self._settings.port}"
        self._all_lost(why)
        self.log_once("mqtt-unreachable", why)

    @_safe
    def _on_disconnect(
        self, client: Client, userdata: Any, flags: Any, reason: ReasonCode, properties: Any
    ) -> None:
        if self._is_up:  # else it never was, and why is known
            self._is_up = False
            self._all_lost(f"connection lost: {reason}")
            log.info("mqtt-disconnected reason=%r", str(reason))

    @_safe
    def _on_message(self, client: Client, userdata: Any, message: MQTTMessage) -> None:
        site = message.topic.split("/", 2)[1]
        side = self._sides.get(site)
        if side is not None:
            side.arrived(message)
        elif site not in self._left:
            # It was ours in an earlier life of this session, and is another daemon's or nobody's now.
            self.counts["of-another-site"] += 1
            self.acknowledge(message.mid, message.qos)
            client.unsubscribe(_topics(site))
