"""The watch's connection to a real broker: who it is let in as, what it says of itself, how it is mended."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from tests.edges.mqtt.talk import TIME_S, collect, fall_dead, pack, retained, say

from propstick.edges import mqtt
from propstick.edges.mqtt import Broker
from propstick.edges.mqtt_client import try_broker
from propstick.errors import ConfigError

pytestmark = [pytest.mark.broker, pytest.mark.slow]


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
