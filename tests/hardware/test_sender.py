"""The node's sender: what it sends is what the watch reads, and nothing is lost or doubled."""

import ast
import importlib.util
import json
import os
import shutil
import socket
import subprocess
import threading
import time
from pathlib import Path

import pytest

from propstick.edges.mosquitto import mosquitto_config, mqtt_acl
from propstick.edges.mqtt_payloads import LARGEST_PACK_BYTES, MOST_RECORDS, PackDesk
from propstick.edges.scratchpad import Scratchpad
from propstick.senml import parse_pack

SENDER = Path(__file__).resolve().parents[2] / "hardware" / "node" / "sender.py"
NOW_S = 1_772_355_600


@pytest.fixture(scope="module")
def sender():
    spec = importlib.util.spec_from_file_location("sender", SENDER)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


class Radio:
    """A broker that can be out of reach, and a clock."""

    def __init__(self):
        self.is_there = True
        self.loses_acknowledgement = False
        self.got = []
        self.now_s = NOW_S

    def connect(self):
        if not self.is_there:
            raise OSError("unreachable")
        return self

    def publish(self, topic, payload, qos):
        assert qos == 1
        self.got.append((topic, payload))
        if self.loses_acknowledgement:
            raise OSError("timed out")

    def disconnect(self):
        pass

    def readings(self):
        """As the watch takes them in."""
        desk = PackDesk()
        taken = [desk.readings("shed", pack.encode(), arrival_ms=NOW_S * 1000) for _, pack in self.got]
        return [(r.probe, r.time_ms // 1000, r.value) for pack in taken if pack for r in pack]


@pytest.fixture
def radio():
    return Radio()


@pytest.fixture
def node(sender, radio):
    return sender.Node("plot", "shed", radio.connect, lambda: radio.now_s)


def test_a_pack_is_senml_with_absolute_times(node, radio):
    """RFC 8428, section 4.5.3: times from 2^28 on are UTC seconds."""
    assert node.take({"air": 7.25, "humidity": 81, "lid": False, "soil": None}) is True
    ((topic, pack),) = radio.got
    assert topic == "propstick/plot/readings/shed"
    records = parse_pack(pack, arrival_ms=None)
    assert [(r.name, r.time_ms, r.value, r.unit, r.content) for r in records] == [
        ("shed/air", NOW_S * 1000, 7.25, "Cel", None),
        ("shed/humidity", NOW_S * 1000, 81.0, "%RH", None),
        ("shed/lid", NOW_S * 1000, None, None, False),
    ]
    assert radio.readings() == [
        ("shed/air", NOW_S, 7.25),
        ("shed/humidity", NOW_S, 81.0),
        ("shed/lid", NOW_S, 0.0),
    ]


def test_what_could_not_be_sent_waits_and_goes_first(node, radio):
    radio.is_there = False
    assert node.take({"air": 5.0}) is False
    radio.now_s += 300
    assert node.take({"air": 5.5}) is False
    radio.is_there = True
    radio.now_s += 300
    assert node.take({"air": 6.0}) is True
    assert radio.readings() == [("shed/air", NOW_S + 300 * k, 5.0 + 0.5 * k) for k in range(3)]
    assert node.waiting() == 0


def test_a_lost_acknowledgement_sends_the_same_readings_again(node, radio):
    """The store knows a reading by probe and time, so nothing is doubled."""
    radio.loses_acknowledgement = True
    assert node.take({"air": 5.0}) is False
    radio.loses_acknowledgement = False
    radio.now_s += 300
    node.take({"air": 5.5})
    found = radio.readings()
    assert found == [("shed/air", NOW_S, 5.0), ("shed/air", NOW_S, 5.0), ("shed/air", NOW_S + 300, 5.5)]
    assert len(set(found)) == 2


def test_a_long_silence_keeps_the_newest_in_packs_the_watch_takes(node, sender, radio):
    radio.is_there = False
    for _ in range(sender.KEPT + 50):
        radio.now_s += 300
        node.take({"air": -12.0625})
    radio.is_there = True
    radio.now_s += 300
    node.take({"air": 1.0})
    sizes = [(len(pack), len(json.loads(pack))) for _, pack in radio.got]
    assert all(size <= LARGEST_PACK_BYTES and count <= MOST_RECORDS for size, count in sizes)
    times = [time_s for _, time_s, _ in radio.readings()]
    assert len(times) == sender.KEPT
    assert times[-1] == radio.now_s
    assert times == sorted(times)


def test_a_node_without_a_clock_counts(node, radio):
    """Each pack has a number; a pack delivered twice by the broker falls. None is kept for later."""
    radio.now_s = 12
    node.take({"air": 7.0})
    node.take({"air": 7.0})
    radio.got.append(radio.got[-1])
    assert radio.readings() == [("shed/air", NOW_S, 7.0)] * 2
    assert [parse_pack(pack, arrival_ms=0)[0].value for _, pack in radio.got] == [1.0, 2.0, 2.0]
    radio.is_there = False
    assert node.take({"air": 8.0}) is False
    assert node.waiting() == 0


@pytest.mark.parametrize("value_c", [125.0, 25.0625, 0.5, 0.0, -0.5, -10.125, -55.0])
def test_the_chip_s_values_are_read_as_the_watch_reads_them(sender, value_c):
    """The table of the DS18B20 datasheet, through our own scratchpads."""
    assert sender.ds18b20_c(Scratchpad.of_temperature(value_c).data) == value_c


def test_what_is_no_measurement_is_no_value(sender):
    """The kernel documentation's power-on bytes, a bad checksum, a bus shorted to ground."""
    power_on = bytes.fromhex("50054b467fff0c101c")
    assert sender.crc8(power_on) == 0
    assert sender.ds18b20_c(power_on) is None
    assert sender.ds18b20_c(power_on[:8] + b"\x1d") is None
    assert sender.ds18b20_c(bytes(9)) is None
    assert sender.ds18b20_c(b"") is None


def test_the_example_settings_have_every_name_the_sender_uses(sender):
    tree = ast.parse(SENDER.read_text())
    used = {
        node.attr
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute)
        and isinstance(node.value, ast.Name)
        and node.value.id == "settings"
    }
    given = {}
    exec(SENDER.with_name("settings.example.py").read_text(), given)
    assert used == {name for name in given if name.isupper()}
    # A ROM code's last byte is the checksum of the seven before it.
    assert all(len(rom) == 8 and sender.crc8(rom) == 0 for rom in given["PROBES"].values())


def test_only_what_a_board_has_is_imported_at_the_top():
    """json and time are part of MicroPython; the rest is imported where it is used."""
    top = [
        node for node in ast.parse(SENDER.read_text()).body if isinstance(node, ast.Import | ast.ImportFrom)
    ]
    assert {alias.name for node in top for alias in node.names} == {"json", "time"}


@pytest.mark.slow
@pytest.mark.broker
def test_through_a_real_broker_to_the_watch_s_own_reader(sender, tmp_path):
    """mosquitto with our access rules; the receiving end is what the watch uses."""
    for tool in ("mosquitto", "mosquitto_passwd"):
        if shutil.which(tool) is None:
            pytest.skip(f"{tool} is not installed (Debian: mosquitto)")
    from paho.mqtt.client import CallbackAPIVersion, Client

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    (tmp_path / "data").mkdir()
    (tmp_path / "acl").write_text(mqtt_acl("plot", ["shed"]))
    passwords = tmp_path / "passwords"
    passwords.touch()
    for name in ("propstick", "shed"):
        subprocess.run(
            ["mosquitto_passwd", "-b", str(passwords), name, name], check=True, capture_output=True
        )
    config = mosquitto_config(
        password_file=passwords, acl_file=tmp_path / "acl", data_folder=tmp_path / "data", port=port
    )
    (tmp_path / "conf").write_text(("user root\n" if os.geteuid() == 0 else "") + config)
    broker = subprocess.Popen(
        ["mosquitto", "-c", str(tmp_path / "conf")], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    got, subscribed = [], threading.Event()
    arrived = threading.Event()

    def client(name):
        made = Client(CallbackAPIVersion.VERSION2, client_id=f"test-{name}")
        made.username_pw_set(name, name)
        return made

    def on_message(_client, _data, message):
        got.append((message.topic, message.payload))
        arrived.set()

    class Link:
        """What MicroPython's client gives, on top of paho."""

        def __init__(self):
            self._client = client("shed")
            self._client.connect("127.0.0.1", port)
            self._client.loop_start()

        def publish(self, topic, payload, qos):
            self._client.publish(topic, payload, qos=qos).wait_for_publish(10)

        def disconnect(self):
            self._client.disconnect()
            self._client.loop_stop()

    try:
        end = time.monotonic() + 10
        while socket.socket().connect_ex(("127.0.0.1", port)) != 0:
            assert time.monotonic() < end, "mosquitto did not start"
            threading.Event().wait(0.02)
        watch = client("propstick")
        watch.on_message = on_message
        watch.on_connect = lambda *_: watch.subscribe("propstick/plot/readings/+", qos=1)
        watch.on_subscribe = lambda *_: subscribed.set()
        watch.connect("127.0.0.1", port)
        watch.loop_start()
        assert subscribed.wait(10)
        node = sender.Node("plot", "shed", Link, lambda: NOW_S)
        assert node.take({"air": 3.5, "soil": 4.0}) is True
        assert arrived.wait(10)
        watch.disconnect()
        watch.loop_stop()
    finally:
        broker.terminate()
        broker.wait(10)
    ((topic, payload),) = got
    readings = PackDesk().readings(topic.rpartition("/")[2], payload, arrival_ms=0)
    assert [(r.probe, r.time_ms, r.value) for r in readings] == [
        ("shed/air", NOW_S * 1000, 3.5),
        ("shed/soil", NOW_S * 1000, 4.0),
    ]
