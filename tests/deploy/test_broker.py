"""The broker's set-up, written into a folder and started: who comes in, who may write what."""

import importlib.util
import os
import re
import shutil
import socket
import subprocess
import threading
import tomllib
from pathlib import Path

import pytest
from paho.mqtt.client import CallbackAPIVersion, Client, MQTTv5

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"
pytestmark = pytest.mark.skipif(
    not all(shutil.which(tool) for tool in ("mosquitto", "mosquitto_passwd", "openssl")),
    reason="mosquitto and openssl are not installed (Debian: mosquitto, openssl)",
)


@pytest.fixture
def broker_script():
    spec = importlib.util.spec_from_file_location("broker", DEPLOY / "broker.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def root(tmp_path):
    """A machine with a garden file and Debian's own broker file."""
    (tmp_path / "etc/propstick").mkdir(parents=True)
    (tmp_path / "etc/propstick/garden.toml").write_text('[site]\nname = "plot"\n[[box]]\nname = "north"\n')
    (tmp_path / "etc/mosquitto/conf.d").mkdir(parents=True)
    (tmp_path / "var/lib/mosquitto").mkdir(parents=True)
    (tmp_path / "etc/mosquitto/mosquitto.conf").write_text(
        f"# Debian's\npersistence true\npersistence_location {tmp_path}/var/lib/mosquitto/\n\n"
        f"include_dir {tmp_path}/etc/mosquitto/conf.d\n"
    )
    return tmp_path


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def set_up(script, root, capsys, *words):
    assert script.main(["--root", str(root), "--node", "shed", *words]) == 0
    said = capsys.readouterr().out
    return said, dict(re.findall(r"^(\w+): password (\S+)", said, re.M))


def test_passwords_are_made_once_and_renewed_when_asked(broker_script, root, capsys):
    said, made = set_up(broker_script, root, capsys)
    assert set(made) == {"shed"}
    hashes = (root / "etc/mosquitto/propstick/passwords").read_text()
    assert made["shed"] not in hashes
    certificate = (root / "etc/mosquitto/propstick/server.crt").read_bytes()

    _, again = set_up(broker_script, root, capsys, "--person", "anna")
    assert set(again) == {"anna"}
    assert (root / "etc/mosquitto/propstick/passwords").read_text().startswith(hashes)
    assert (root / "etc/mosquitto/propstick/server.crt").read_bytes() == certificate

    _, renewed = set_up(broker_script, root, capsys, "--renew", "shed")
    assert renewed["shed"] != made["shed"]
    secret = root / "etc/propstick/mqtt.password"
    assert secret.stat().st_mode & 0o777 == 0o600
    assert secret.read_text().strip() not in said


def test_the_table_it_prints_is_one_the_garden_file_takes(broker_script, root, capsys):
    from propstick.app.garden_file.load import load

    said, _ = set_up(broker_script, root, capsys)
    table = said[said.index("[mqtt]") : said.index("Then:")]
    file = root / "etc/propstick/garden.toml"
    file.write_text(file.read_text() + table)
    mqtt = load(file, probes_required=False).mqtt
    assert mqtt.username == "propstick"
    assert mqtt.password.reveal() == (root / "etc/propstick/mqtt.password").read_text().strip()
    assert tomllib.loads(table)["mqtt"]["port"] == 1883


def test_a_name_that_could_smuggle_a_rule_in_is_refused(broker_script, root, capsys):
    assert broker_script.main(["--root", str(root), "--node", "a b"]) == 2
    assert not (root / "etc/mosquitto/propstick").exists()
    assert "node" in capsys.readouterr().err


@pytest.mark.slow
@pytest.mark.broker
def test_a_real_broker_takes_it_and_a_node_writes_its_own_readings_only(broker_script, root, capsys, until):
    """Over TLS, with the authority that was made; MQTT 5 reason code 135 is 'not authorized'."""
    port, tls_port = free_port(), free_port()
    _, made = set_up(
        broker_script, root, capsys, "--host", "localhost", "--port", str(port), "--tls-port", str(tls_port)
    )
    main_file = root / "etc/mosquitto/mosquitto.conf"
    if os.geteuid() == 0:
        main_file.write_text("user root\n" + main_file.read_text())
    broker = subprocess.Popen(
        ["mosquitto", "-c", str(main_file)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        assert until(lambda: listens(tls_port)), "mosquitto did not start"
        node, codes = connected("shed", made["shed"], root / "etc/propstick/ca.crt", tls_port)
        for topic in ("readings/shed", "readings/lane", "requests"):
            node.publish(f"propstick/plot/{topic}", "[]", qos=1).wait_for_publish(5)
        assert until(lambda: len(codes) == 3)
        assert [code == 135 for code in codes] == [False, True, True]
        node.loop_stop()
        node.disconnect()
    finally:
        broker.terminate()
        broker.wait(10)


def listens(port):
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def connected(name, password, ca_file, port):
    codes = []
    ready = threading.Event()
    client = Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=MQTTv5)
    client.username_pw_set(name, password)
    client.tls_set(ca_certs=str(ca_file))
    client.on_connect = lambda *_: ready.set()
    client.on_publish = lambda _client, _data, _mid, reason, _properties: codes.append(reason.value)
    client.connect("localhost", port)
    client.loop_start()
    assert ready.wait(10)
    return client, codes


@pytest.fixture
def until():
    """Whether something another process does comes true in time."""
    import time

    pause = threading.Event()

    def wait(condition, within_s=10.0):
        end = time.monotonic() + within_s
        while not condition():
            if time.monotonic() > end:
                return False
            pause.wait(0.02)
        return True

    return wait
