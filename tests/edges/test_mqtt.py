"""The watch's side of a real broker: Debian's mosquitto on loopback."""

import itertools
import json
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from propstick.edges import mqtt
from propstick.edges.mqtt import Broker
from propstick.edges.mqtt_client import connect, make_client, try_broker
from propstick.errors import ConfigError
from propstick.records import Reading

pytestmark = [pytest.mark.broker, pytest.mark.slow]

TIME_S = 1_784_000_000
NUMBERS = itertools.count()
"""So that no test finds the session of another."""


@pytest.fixture(params=["5", "3.1.1"])
def version(request) -> str:
    return request.param


@pytest.fixture
def make_broker(broker_home):
    """Started brokers, each with a session of its own; stopped afterwards."""
    made: list[Broker] = []

    def make(**more) -> Broker:
        settings = broker_home.access(**{"client_id": f"watch-{next(NUMBERS)}", **more})
        broker = Broker(settings, "plot", now_s=lambda: TIME_S)
        broker.start()
        made.append(broker)
        assert broker.wait_connected(10), broker.trouble()
        return broker

    yield make
    for broker in made:
        broker.stop()


@pytest.fixture
def make_node(broker_home):
    """Connected nodes; disconnected afterwards."""
    made = []

    def make(name="shed", **more):
        made.append(broker_home.node(name, **more))
        return made[-1]

    yield make
    for client in made:
        client.disconnect()
        client.loop_stop()


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


def test_readings_arrive_and_are_acknowledged_after_the_commit(make_broker, make_node, version, until):
    """Nothing is acknowledged before; nothing comes again after."""
    broker, node = make_broker(version=version), make_node(version=version)
    for k in range(5):
        say(node, pack(k, 10.0 + k))
    found = collect(broker, 5, until)
    assert found == [Reading("shed/air", (TIME_S + k) * 1000, 10.0 + k) for k in range(5)]
    broker.committed()
    assert broker.take() == ()


def test_what_was_not_committed_comes_again_to_the_next_life(make_broker, make_node, version, until):
    """The watch dies between taking and committing: at least once."""
    first, node = make_broker(version=version, client_id=f"mortal-{version}"), make_node()
    say(node, pack(0))
    collect(first, 1, until)
    fall_dead(first)
    second = make_broker(version=version, client_id=f"mortal-{version}")
    assert collect(second, 1, until) == [Reading("shed/air", TIME_S * 1000, 10.0)]
    second.committed()


def test_a_broken_connection_doubles_nothing(make_broker, make_node, until):
    """The broker sends unacknowledged messages again; held ones are known and acknowledged as the new."""
    broker, node = make_broker(client_id="cut"), make_node()
    say(node, pack(0))
    collect(broker, 1, until)
    say(node, pack(1))
    assert until(lambda: broker._waiting)
    broker._line.client.socket().shutdown(2)
    assert until(lambda: broker.counts["redelivered"] == 2)
    assert [r.time_ms for r in broker.take()] == [(TIME_S + 1) * 1000]
    broker.committed()
    fall_dead(broker)
    again = make_broker(client_id="cut")
    say(node, pack(2))
    assert [r.time_ms for r in collect(again, 1, until)] == [(TIME_S + 2) * 1000]


def test_a_lost_acknowledgement_doubles_nothing(make_broker, make_node, monkeypatch, until):
    """Stored, but the broker never heard so: it sends again, and is told again."""
    broker, node = make_broker(client_id="unheard"), make_node()
    say(node, pack(0))
    collect(broker, 1, until)
    with monkeypatch.context() as patch:
        patch.setattr(broker._line.client, "ack", lambda mid, qos: None)
        broker.committed()
    broker._line.client.socket().shutdown(2)
    assert until(lambda: broker.counts["redelivered"] == 1)
    say(node, pack(1))
    assert [r.time_ms for r in collect(broker, 1, until)] == [(TIME_S + 1) * 1000]


def test_messages_sent_while_the_watch_was_away_wait_for_it(make_broker, make_node, until):
    """The broker keeps the session; QoS 1 in order."""
    first, node = make_broker(client_id="away"), make_node()
    first.stop()
    for k in range(5):
        say(node, pack(k))
    second = make_broker(client_id="away")
    assert [r.time_ms // 1000 - TIME_S for r in collect(second, 5, until)] == [0, 1, 2, 3, 4]


def test_a_broker_restart_in_mid_stream_loses_and_doubles_nothing(broker_home, make_broker, make_node, until):
    """Ten packs, the broker restarted after four, the node going on to speak meanwhile."""
    broker, node = make_broker(), make_node()
    broker.publish("boxes/north/now", '{"air_c": 12}')
    for k in range(4):
        say(node, pack(k))
    found = collect(broker, 4, until)
    broker.committed()
    broker_home.stop()
    assert until(broker.trouble)
    broker.publish("alarms/north/heat", '{"id": "x"}')
    for k in range(4, 10):
        node.publish("propstick/plot/readings/shed", json.dumps(pack(k)), qos=1)
    broker_home.start()
    assert until(lambda: not broker.trouble())
    found += collect(broker, 6, until)
    broker.committed()
    assert [r.time_ms // 1000 - TIME_S for r in found] == list(range(10))
    for topic, payload in (
        ("propstick/plot/boxes/north/now", '{"air_c": 12}'),
        ("propstick/plot/alarms/north/heat", '{"id": "x"}'),
        ("propstick/plot/watch", "on"),
    ):
        assert until(lambda topic=topic, payload=payload: retained(broker_home, topic, until) == payload), (
            topic
        )
    broker.publish("alarms/north/heat", "")
    assert until(lambda: retained(broker_home, "propstick/plot/alarms/north/heat", until) is None)


def test_the_watch_topic_says_on_off_and_the_will(broker_home, make_broker, until):
    """`on` while connected, `off` at a polite end, and `off` by the broker after a death."""
    topic = "propstick/plot/watch"
    broker = make_broker()
    assert until(lambda: retained(broker_home, topic, until) == "on")
    broker.stop()
    assert retained(broker_home, topic, until) == "off"
    broker = make_broker()
    assert until(lambda: retained(broker_home, topic, until) == "on")
    fall_dead(broker)
    assert until(lambda: retained(broker_home, topic, until) == "off")


def test_tls_with_an_authority_of_our_own(broker_home, make_broker, make_node, until):
    """The certificate is checked; one signed by another authority is refused."""
    sealed = {"port": broker_home.tls_port, "tls": True, "ca_file": broker_home.folder / "ca.crt"}
    broker, node = make_broker(**sealed), make_node(**sealed)
    say(node, pack(0))
    assert len(collect(broker, 1, until)) == 1
    wrong = broker_home.access(**{**sealed, "ca_file": broker_home.folder / "other.crt"})
    assert try_broker(wrong, timeout_s=2) != ""
    assert try_broker(broker_home.access(**sealed)) == ""


def test_a_ca_file_that_is_none_is_a_configuration_error(broker_home):
    """Found at start, with the file's name."""
    missing = replace(broker_home.access(), tls=True, ca_file=Path("no-such-file.pem"))
    with pytest.raises(ConfigError, match=r"no-such-file\.pem"):
        Broker(missing, "plot")


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_wrong_password_is_named(broker_home, version):
    """In words a person understands."""
    wrong = broker_home.access(version=version, password=None)
    assert "refused" in try_broker(wrong)
    assert try_broker(broker_home.access(version=version)) == ""


def test_no_broker_is_named(broker_home):
    """Nothing listens on port 1."""
    assert "no answer from localhost:1" in try_broker(broker_home.access(port=1))


def test_a_node_may_write_only_its_own(make_broker, make_node, until):
    """The access file; under v5 the broker even says so."""
    broker, node = make_broker(), make_node("shed")
    node.publish("propstick/plot/readings/lane", json.dumps(pack(0)), qos=1).wait_for_publish(10)
    node.publish("propstick/plot/requests", '{"kind": "lid", "box": "north", "opening": 1}', qos=1)
    say(node, pack(1))
    assert [r.probe for r in collect(broker, 1, until)] == ["shed/air"]
    assert broker.take_requests() == ()


def test_rubbish_is_counted_and_never_fatal(make_broker, make_node, until):
    """Empty, binary, too long, not SenML: the next good pack is read as ever."""
    broker, node = make_broker(), make_node()
    for payload in (b"", b"\x00\xff", b"21.5", b"[" * 5000, b"x" * 20_000, b"{}", b'[{"n":"a b","v":1}]'):
        say(node, payload)
    say(node, pack(0))
    assert len(collect(broker, 1, until)) == 1
    broker.committed()
    assert (broker.counts["wrong-pack"], broker.counts["wrong-message"]) == (6, 1)
    assert broker.trouble() == ""


def test_a_pack_without_date_counts_once(make_broker, make_node, until):
    """Sent twice by a node that did not hear the broker's answer."""
    broker, node = make_broker(), make_node()
    body = [{"n": "counter", "v": 3}, {"n": "air", "v": 5.5, "t": -10}]
    say(node, body)
    say(node, body)
    say(node, [{"n": "counter", "v": 4}, {"n": "air", "v": 5.5}])
    found = collect(broker, 2, until)
    assert [r.time_ms for r in found] == [(TIME_S - 10) * 1000, TIME_S * 1000]
    assert broker.counts["double-pack"] == 1
    assert set(broker.seen()) == {"shed"}


def test_requests_come_from_afar_but_not_from_the_past(broker_home, make_broker, until):
    """A retained wish was carried out long ago; a fresh one is taken once."""
    person = make_client(broker_home.access(), "person")
    connect(person, broker_home.access(), keep_session=False)
    person.loop_start()
    assert until(person.is_connected)
    topic = "propstick/plot/requests"
    say(person, {"kind": "lid", "box": "north", "opening": 1}, topic=topic, retain=True)
    broker = make_broker()
    say(person, {"kind": "acknowledge", "id": "north.heat.1"}, topic=topic)
    say(person, {"kind": "erase"}, topic=topic)
    found: list = []
    assert until(lambda: found.extend(broker.take_requests()) or broker.counts["wrong-request"])
    broker.committed()
    assert found == [("acknowledge", {"id": "north.heat.1"})]
    assert broker.take_requests() == ()
    person.publish(topic, b"", qos=1, retain=True).wait_for_publish(10)
    person.disconnect()
    person.loop_stop()


def test_a_burst_larger_than_a_row_arrives_whole(make_broker, make_node, version, until):
    """More messages between two rows than a broker would send unacknowledged by default (20)."""
    broker, node = make_broker(version=version), make_node()
    for k in range(150):
        node.publish("propstick/plot/readings/shed", json.dumps(pack(k)), qos=1)
    assert until(lambda: len(broker._waiting) == 150)
    assert len(broker.take()) == 150


def test_readings_go_on_while_the_store_refuses(make_broker, make_node, until):
    """Nothing is committed; the oldest are acknowledged all the same, so that the flow does not dry up."""
    broker, node = make_broker(), make_node()
    total = mqtt.MOST_UNCOMMITTED * 5
    for k in range(total):
        node.publish("propstick/plot/readings/shed", json.dumps(pack(k)), qos=1)
    assert len(collect(broker, total, until)) == total


def test_a_fault_in_a_callback_does_not_end_the_thread(make_broker, make_node, monkeypatch, until):
    """paho's thread would die in silence, still saying it is connected."""
    broker, node = make_broker(), make_node()
    monkeypatch.setattr(mqtt, "LARGEST_PACK_BYTES", None)  # makes the callback itself fail
    say(node, pack(0))
    assert until(lambda: broker.counts["callback-fault"] == 1)
    monkeypatch.undo()
    say(node, pack(1))
    assert [r.time_ms for r in collect(broker, 1, until)] == [(TIME_S + 1) * 1000]


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_dead_thread_is_started_again(make_broker, make_node, until):
    """Should it die by something we do not wrap, the next row notices."""
    broker, node = make_broker(), make_node()
    say(node, pack(0))
    assert len(collect(broker, 1, until)) == 1
    broker.committed()

    def fail(*_):
        raise RuntimeError("planted")

    broker._line.client.on_message, ours = fail, broker._line.client.on_message
    say(node, pack(1))
    assert until(lambda: not broker._line.network_thread.is_alive())
    broker._line.client.on_message = ours
    assert [r.time_ms for r in collect(broker, 1, until)] == [(TIME_S + 1) * 1000]
    assert broker.counts["thread-revived"] == 1


def test_while_the_broker_is_away_publishing_neither_waits_nor_piles_up(broker_home):
    """A thousand rows of one box are one topic; unretained ones fall, and say so."""
    broker = Broker(broker_home.access(port=1), "plot")
    broker.start()
    assert all(broker.publish("boxes/north/now", f'{{"row": {k}}}') for k in range(1000))
    assert broker.publish("said", "once", retain=False) is False
    assert len(broker._retained) == 1
    assert broker.trouble() != ""
    broker.stop()
