"""Servers of our own for tests and proofs, from Debian's packages, each in a temporary folder."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any


class NotInstalled(RuntimeError):
    """What is missing, and the package that has it."""


@dataclass(frozen=True)
class Database:
    """A server under way: how Propstick reaches it, and the process that all its others belong to."""

    url: str
    pid: int
    switch: Callable[[str], None]

    @contextmanager
    def stopped(self) -> Iterator[None]:
        """The server is away for the length of the block."""
        self.switch("stop")
        try:
            yield
        finally:
            self.switch("start")


@contextmanager
def postgresql(*, sync: bool = False, connections: int = 100) -> Iterator[Database]:
    """A fresh PostgreSQL, gone at the end.

    Args:
        sync: Whether a commit waits for the disk, as in service; tests do without.
        connections: The most it takes.

    Raises:
        NotInstalled: there is no server, or no driver for it.
    """
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"))
    if not found:
        raise NotInstalled("no PostgreSQL server under /usr/lib/postgresql (apt-get install postgresql)")
    tools = found[-1].parent
    # Sockets need a short path, and the server refuses to run as root.
    folder = Path(tempfile.mkdtemp(prefix="propstick-pg-"))
    as_user: dict[str, Any] = {}
    if os.getuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
        as_user = {"user": "postgres", "group": "postgres", "extra_groups": []}

    def run(*command: str) -> None:
        subprocess.run(command, check=True, capture_output=True, cwd=folder, **as_user)

    data = folder / "data"
    run(str(tools / "initdb"), "-D", str(data), "-A", "trust", "-U", "propstick", "-E", "UTF8", "--no-sync")
    options = (
        f"-c listen_addresses='' -c unix_socket_directories={folder} "
        f"-c fsync={'on' if sync else 'off'} -c max_connections={connections}"
    )

    def switch(way: str) -> None:
        more = ["-o", options, "-l", str(folder / "log")] if way == "start" else ["-m", "immediate"]
        run(str(tools / "pg_ctl"), "-D", str(data), *more, "-w", way)

    switch("start")
    try:
        pid = int((data / "postmaster.pid").read_text().split()[0])
        yield Database(f"postgresql+psycopg://propstick@/postgres?host={folder}", pid, switch)
    finally:
        switch("stop")
        shutil.rmtree(folder)


@dataclass(frozen=True)
class Mosquitto:
    """A broker under way on loopback."""

    port: int
    pid: int


@contextmanager
def mosquitto() -> Iterator[Mosquitto]:
    """A fresh broker that lets everybody in and keeps sessions, gone at the end.

    Raises:
        NotInstalled: there is none.
    """
    if shutil.which("mosquitto") is None:
        raise NotInstalled("mosquitto is not installed (Debian: mosquitto)")
    with tempfile.TemporaryDirectory(prefix="propstick-mq-") as name:
        port = free_port()
        lines = [
            "allow_anonymous true", "persistence true", f"persistence_location {name}/",
            "max_queued_messages 1000", "max_inflight_messages 200", f"listener {port} 127.0.0.1",
            *(["user root"] if os.geteuid() == 0 else []),
        ]  # fmt: skip
        file = Path(name) / "mosquitto.conf"
        file.write_text("\n".join(lines) + "\n")
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        process = subprocess.Popen(["mosquitto", "-c", str(file)], **quiet)
        try:
            _until_it_listens(port)
            yield Mosquitto(port, process.pid)
        finally:
            process.terminate()
            process.wait(20)


def free_port() -> int:
    """A port of loopback nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _until_it_listens(port: int, within_s: float = 10.0) -> None:
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.02)
    raise AssertionError("mosquitto did not start")
