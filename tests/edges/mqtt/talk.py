"""What nodes and newcomers say and hear, for the tests on a real broker."""

import itertools
import json
import threading

from propstick.edges.mqtt_client import connect, make_client
from propstick.records import Reading

TIME_S = 1_784_000_000
NUMBERS = itertools.count()
"""So that no test finds the session of another."""


def say(client, payload, *, topic="propstick/plot/readings/shed", qos=1, retain=False):
    """Publishes and waits for the broker's word that it has it."""
    body = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    sent = client.publish(topic, body, qos=qos, retain=retain)
    sent.wait_for_publish(10)
    assert sent.is_published()


def pack(k, value=10.0):
    return [{"n": "air", "u": "Cel", "v": value, "t": TIME_S + k}]


def collect(broker, count, until):
    """Takes until so many readings are there."""
    found: list[Reading] = []

    def enough():
        found.extend(broker.take())
        return len(found) >= count

    assert until(enough), f"only {len(found)} of {count} readings came"
    return found


def fall_dead(broker):
    """The process is killed: nothing more is said, the socket closes without a goodbye."""
    link = broker._line.client.socket()
    broker._line.client.loop_stop()
    link.close()


def retained(broker_home, topic, until):
    """What a newcomer is told about a topic: its retained payload, or None."""
    listener = make_client(broker_home.access(), f"listener-{next(NUMBERS)}")
    told: dict[str, str] = {}
    subscribed = threading.Event()
    listener.on_message = lambda c, u, m: (told.update({m.topic: m.payload.decode()}), c.ack(m.mid, m.qos))
    listener.on_connect = lambda c, *_: c.subscribe([(topic, 1), ("propstick/plot/end", 1)])
    listener.on_subscribe = lambda *_: subscribed.set()
    connect(listener, broker_home.access(), keep_session=False)
    listener.loop_start()
    assert subscribed.wait(10)
    # Retained messages come before anything published after the subscription.
    listener.publish("propstick/plot/end", "end", qos=1)
    assert until(lambda: "propstick/plot/end" in told)
    listener.disconnect()
    listener.loop_stop()
    return told.get(topic)
