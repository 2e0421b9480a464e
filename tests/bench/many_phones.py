"""A web server that takes the pushes of many sites, in a process of its own, and notes when each came."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from tests.servers import free_port


@dataclass(frozen=True)
class Phones:
    """Under way on loopback; what each site was sent goes to `/<site>`."""

    port: int
    pid: int
    log: Path

    def came(self) -> dict[str, list[float]]:
        """When each site was sent something, UTC seconds."""
        found: dict[str, list[float]] = {}
        for line in self.log.read_text().splitlines():
            at_s, site = line.split()
            found.setdefault(site, []).append(float(at_s))
        return found


@contextmanager
def phones(folder: Path) -> Iterator[Phones]:
    """Takes pushes for the length of the block."""
    log, port = folder / "pushes.log", free_port()
    log.touch()
    process = multiprocessing.get_context("spawn").Process(target=_listen, args=(port, log), daemon=True)
    process.start()
    try:
        yield Phones(port, process.pid or 0, log)
    finally:
        process.terminate()
        process.join(10)


def _listen(port: int, log: Path) -> None:
    with log.open("a", buffering=1) as notes:

        class Receiver(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                self.rfile.read(int(self.headers.get("content-length", 0)))
                notes.write(f"{time.time()} {self.path.strip('/')}\n")
                self.send_response(200)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        ThreadingHTTPServer.request_queue_size = 64
        ThreadingHTTPServer(("127.0.0.1", port), Receiver).serve_forever()
