"""What comes to the watch over a real broker: once, in order, and only what may."""

import json

import pytest
from tests.edges.mqtt.talk import TIME_S, collect, fall_dead, pack, say

from propstick.edges import mqtt
from propstick.edges.mqtt_client import connect, make_client
from propstick.records import Reading

pytestmark = [pytest.mark.broker, pytest.mark.slow]


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
