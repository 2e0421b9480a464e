"""Servers of our own for tests and proofs, from Debian's packages, each in a temporary folder."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
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
    run(str(tools / "pg_ctl"), "-D", str(data), "-o", options, "-l", str(folder / "log"), "-w", "start")
    try:
        pid = int((data / "postmaster.pid").read_text().split()[0])
        yield Database(f"postgresql+psycopg://propstick@/postgres?host={folder}", pid)
    finally:
        run(str(tools / "pg_ctl"), "-D", str(data), "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder)
