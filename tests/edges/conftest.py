"""A store in a temporary file, a broker and a web server on loopback, and small things to put into them."""

import itertools
import json
import os
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import numpy as np
import pytest
from paho.mqtt.client import Client
from tests.servers import NotInstalled, postgresql

from propstick.edges import schema
from propstick.edges.database import open_store
from propstick.edges.mosquitto import mosquitto_config, mqtt_acl
from propstick.edges.mqtt_client import connect, make_client
from propstick.edges.push import AppriseChannel
from propstick.edges.store import Store
from propstick.grid import ReadingColumns
from propstick.records import Alarm, AlarmChange, Notice

os.environ.setdefault("W1THERMSENSOR_NO_KERNEL_MODULE", "1")  # tests import the library as a reference


@pytest.fixture
def store_url(tmp_path) -> str:
    return f"sqlite:///{tmp_path / 'store.db'}"


@pytest.fixture
def sqlite_store(store_url) -> Iterator[Store]:
    """A fresh store in a file, closed afterwards."""
    opened = open_store(store_url)
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def postgresql_url() -> Iterator[str]:
    """A PostgreSQL of our own, started at first use; shared by the session."""
    pytest.importorskip("psycopg", reason="psycopg is not installed (extra `postgres`)")
    try:
        with postgresql() as database:
            yield database.url
    except NotInstalled as missing:
        pytest.skip(str(missing))


@pytest.fixture
def postgresql_store(postgresql_url) -> Iterator[Store]:
    """The server's store, emptied."""
    opened = open_store(postgresql_url)
    with opened.write() as connection:
        tables = ", ".join(f'"{table.name}"' for table in schema.metadata.sorted_tables)
        connection.exec_driver_sql(f"TRUNCATE {tables} RESTART IDENTITY CASCADE")
    yield opened
    opened.close()


@pytest.fixture(params=["sqlite", "postgresql"])
def store(request) -> Store:
    """A fresh store: every promise is kept by both databases."""
    return request.getfixturevalue(f"{request.param}_store")


@pytest.fixture
def make_columns() -> Callable[..., ReadingColumns]:
    """Readings of `probes` at every `step_s` from `start_s`, one value per (row, probe)."""

    def make(values, *, probes, start_s=1_770_000_000, step_s=60, flags=None) -> ReadingColumns:
        values = np.asarray(values, dtype=float).reshape(-1, len(probes))
        rows = len(values)
        bits = np.zeros(values.shape, np.uint16) if flags is None else np.asarray(flags, np.uint16)
        return ReadingColumns(
            probes=tuple(probes),
            time_ms=np.repeat((start_s + step_s * np.arange(rows, dtype=np.int64)) * 1000, len(probes)),
            column=np.tile(np.arange(len(probes), dtype=np.int32), rows),
            raw=values.reshape(-1),
            flags=bits.reshape(-1),
        )

    return make


@pytest.fixture
def make_change() -> Callable[..., AlarmChange]:
    """One step in the life of a heat alarm of the box `north`, raised at `raised_s`."""

    def make(raised_s=1_770_000_000, *, event="raised", at_s=None, **more) -> AlarmChange:
        alarm = Alarm(
            **{
                "id": f"north.heat.{raised_s}", "box": "north", "kind": "heat", "state": "unacknowledged",
                "raised_s": raised_s, "begun_s": raised_s - 120, "value_c": 28.126, "limit_c": 27.0, **more,
            }
        )  # fmt: skip
        return AlarmChange(raised_s if at_s is None else at_s, event, alarm)

    return make


@pytest.fixture
def make_notice() -> Callable[..., Notice]:
    def make(issued_s=1_770_000_000, **more) -> Notice:
        given = {
            "id": f"{issued_s}.north.heat", "issued_s": issued_s, "boxes": ("north",), "kinds": ("heat",),
            "text": "Open north: 28.1 °C",
        }  # fmt: skip
        return Notice(**{**given, **more})

    return make


@pytest.fixture(scope="session")
def broker_home(tmp_path_factory) -> Iterator["MosquittoHome"]:
    """A mosquitto with passwords, access rules and TLS, started at first use; shared by the session."""
    for tool in ("mosquitto", "mosquitto_passwd", "openssl"):
        if shutil.which(tool) is None:
            pytest.skip(f"{tool} is not installed (Debian: mosquitto, openssl)")
    home = MosquittoHome(tmp_path_factory.mktemp("mosquitto"))
    home.start()
    yield home
    home.stop()


@dataclass(frozen=True)
class Word:
    """A password as the broker settings carry it."""

    text: str

    def reveal(self) -> str:
        return self.text


@dataclass(frozen=True, kw_only=True)
class BrokerAccess:
    """Settings as the garden file would give them."""

    port: int
    host: str = "localhost"
    username: str | None = "propstick"
    password: Word | None = Word("watch-word")
    tls: bool = False
    ca_file: Path | None = None
    version: str = "5"
    client_id: str | None = None
    keepalive_s: int = 5


class MosquittoHome:
    """Debian's broker on loopback, set up with our own texts."""

    NODES = ("shed", "lane")

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port, self.tls_port = _free_port(), _free_port()
        self._process: subprocess.Popen | None = None
        (folder / "data").mkdir()
        passwords = folder / "passwords"
        passwords.touch()
        for name, word in [("propstick", "watch-word"), *((node, f"{node}-word") for node in self.NODES)]:
            command = ["mosquitto_passwd", "-b", str(passwords), name, word]
            subprocess.run(command, check=True, capture_output=True)
        (folder / "acl").write_text(mqtt_acl("plot", self.NODES) + "\n" + mqtt_acl("orchard", ()))
        self._certify()
        config = mosquitto_config(
            password_file=passwords, acl_file=folder / "acl", data_folder=folder / "data", port=self.port,
            tls_port=self.tls_port, certificate=folder / "server.crt", key=folder / "server.key",
        )  # fmt: skip
        user = "user root\n" if os.geteuid() == 0 else ""
        (folder / "mosquitto.conf").write_text(user + config)

    def start(self) -> None:
        self._process = subprocess.Popen(
            ["mosquitto", "-c", str(self.folder / "mosquitto.conf")],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        assert until(self._listens), "mosquitto did not start"

    def stop(self) -> None:
        """Politely: it saves sessions and retained messages."""
        self._process.terminate()
        self._process.wait(10)

    def access(self, **more) -> BrokerAccess:
        return BrokerAccess(**{"port": self.port, **more})

    def node(self, name: str, **more) -> Client:
        """A connected client of a node."""
        access = self.access(username=name, password=Word(f"{name}-word"), **more)
        client = make_client(access, f"node-{name}-{next(_numbers)}")
        ready = threading.Event()
        client.on_connect = lambda *_: ready.set()
        connect(client, access, keep_session=False)
        client.loop_start()
        assert ready.wait(10)
        return client

    def _listens(self) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def _certify(self) -> None:
        """An authority of our own, and a certificate for `localhost` signed by it."""
        curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2"]
        for command in (
            ["req", "-x509", *curve, "-keyout", "ca.key", "-out", "ca.crt", "-subj", "/CN=garden authority"],
            ["req", "-x509", *curve, "-CA", "ca.crt", "-CAkey", "ca.key", "-keyout", "server.key",
             "-out", "server.crt", "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost",
             "-addext", "basicConstraints=critical,CA:FALSE"],
            ["req", "-x509", *curve, "-keyout", "other.key", "-out", "other.crt", "-subj", "/CN=other"],
        ):  # fmt: skip
            subprocess.run(["openssl", *command], cwd=self.folder, check=True, capture_output=True)


def until(condition: Callable[[], object], *, within_s: float = 10.0) -> bool:
    """Whether it comes true in time. For what happens in another process; returns as soon as it does."""
    pause = threading.Event()
    give_up_at = time.monotonic() + within_s
    while not condition():
        if time.monotonic() > give_up_at:
            return False
        pause.wait(0.01)
    return True


@pytest.fixture(name="until")
def until_fixture() -> Callable[..., bool]:
    return until


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


_numbers = itertools.count()


@pytest.fixture(scope="session")
def warm_apprise() -> None:
    """Its first use loads every plugin; that is no test's own time."""
    AppriseChannel("json://localhost/", "warm").is_understood()


@pytest.fixture
def web(warm_apprise) -> Iterator["WebReceiver"]:
    """A real HTTP server on loopback that keeps what is posted."""
    receiver = WebReceiver()
    yield receiver
    receiver.close()


class WebReceiver:
    """Answers every POST with `status`, `delay_s` after it came."""

    def __init__(self) -> None:
        self.posts: list[dict] = []
        self.status = 200
        self.delay_s = 0.0
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                receiver.posts.append({"path": self.path, **json.loads(body)})
                time.sleep(receiver.delay_s)
                self.send_response(receiver.status)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.port = self._server.server_port
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(5)
