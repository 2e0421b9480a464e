"""A small plot on real parts: 1-wire files, SQLite, a web server that takes the pushes, the real daemon."""

from __future__ import annotations

import http.server
import json
import math
import signal
import subprocess
import sys
import threading
import time
from contextlib import closing
from pathlib import Path

from tests.noon import noon_zone

from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.onewire_tree import Tree
from propstick.errors import StoreError

STEP_S = 2
AIR, SOIL, OUTSIDE = "28-00000000000a", "28-00000000000b", "28-00000000000c"
OTHERS = {"lane": "28-00000000000d", "yard": "28-00000000000e"}
"""Boxes whose air is set: the same hand is not asked for twice in a quarter of an hour."""
GARDEN = """
[site]
name = "plot"
zone = "{zone}"
[watch]
step_s = {step}
[onewire]
tree = "w1"
[store]
url = "sqlite:///{disk}/plot.db"
[alarms]
on_delay_s = 4
off_delay_s = 4
[push]
urls = ["json://127.0.0.1:{port}/hook"]
[[box]]
name = "north"
[[probe]]
id = "{air}"
box = "north"
place = "air"
[[probe]]
id = "{soil}"
box = "north"
place = "soil"
[[probe]]
id = "{outside}"
box = "outside"
place = "air"
[[box]]
name = "lane"
[[probe]]
id = "{lane}"
box = "lane"
place = "air"
[[box]]
name = "yard"
[[probe]]
id = "{yard}"
box = "yard"
place = "air"
"""


class Plot:
    """Readings wave through the heat limit once a minute, so that alarms rise and go all the time."""

    def __init__(self, folder: Path, *, disk: Path | None = None) -> None:
        self.folder = folder
        self._disk = disk or folder
        self.pushes: list[str] = []
        self.pushed_at: list[float] = []
        self.air_c = dict.fromkeys(OTHERS, 18.0)
        self.is_calm = False
        self._stop = threading.Event()
        plot = self

        class Receiver(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers.get("content-length", 0)))
                plot.pushed_at.append(time.time())
                plot.pushes.append(json.loads(body)["message"])
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Receiver)
        self._tree = Tree(folder / "w1")
        self._weather()
        self.file = folder / "garden.toml"
        self.file.write_text(
            GARDEN.format(
                zone=noon_zone(),
                step=STEP_S,
                disk=self._disk,
                port=self._server.server_port,
                air=AIR,
                soil=SOIL,
                outside=OUTSIDE,
                **OTHERS,
            )
        )
        threading.Thread(target=self._server.serve_forever, daemon=True).start()
        threading.Thread(target=self._blow, daemon=True).start()

    @property
    def database(self) -> Path:
        return self._disk / "plot.db"

    def last_row_s(self) -> int:
        """The newest stored row as another process sees it; 0 before there is a store."""
        try:
            with closing(open_store(f"sqlite:///{self.database}", create=False)) as store:
                return Journal(store, "plot").last_row() or 0
        except StoreError:
            return 0

    def start(self, *, module: str = "propstick") -> subprocess.Popen[bytes]:
        """The daemon, as systemd would start it."""
        with (self.folder / "watch.log").open("ab") as log:
            return subprocess.Popen(
                [sys.executable, "-m", module, "watch", "--garden", str(self.file)],
                stdout=log, stderr=log,
            )  # fmt: skip

    def close(self) -> None:
        self._stop.set()
        self._server.shutdown()

    def _blow(self) -> None:
        while not self._stop.wait(0.3):
            self._weather()

    def _weather(self) -> None:
        wave = math.sin(2.0 * math.pi * time.time() / 60.0)
        self._tree.set(AIR, 20.0 + wave if self.is_calm else 27.0 + 2.5 * wave)
        self._tree.set(SOIL, 15.0 + 0.3 * wave)
        self._tree.set(OUTSIDE, 12.0 + 0.5 * wave)
        for box, probe in OTHERS.items():
            self._tree.set(probe, self.air_c[box] + 0.3 * wave)


def killed(process: subprocess.Popen[bytes]) -> None:
    """As the kernel, or the socket on the wall, ends it: nothing can be caught or finished."""
    process.send_signal(signal.SIGKILL)
    process.wait(20)


def ended(process: subprocess.Popen[bytes]) -> int:
    """As systemd ends it."""
    process.send_signal(signal.SIGTERM)
    return process.wait(30)
