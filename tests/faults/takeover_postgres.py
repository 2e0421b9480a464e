"""Two daemons for the same two sites on one PostgreSQL and one broker; the one at work is killed.

Readings come from wireless nodes and go on coming while nobody watches: the broker keeps them for
whoever comes. The second daemon stands by. At the last kill it runs under another host's name, so that
it cannot see that the first is dead and must wait until the lease has run out, as between machines.
"""

from __future__ import annotations

import http.server
import json
import math
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from contextlib import ExitStack, closing
from pathlib import Path

import numpy as np
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from tests.bench.table import Figure
from tests.faults.plot import killed
from tests.noon import noon_zone
from tests.servers import mosquitto, postgresql

from propstick.app.live.watch import lease_s
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.edges.store import Store

STEP_S = 2
SITES = ("east", "west")
SOON_S = 20.0
PATIENCE_S = 90.0
GARDEN = """
[site]
name = "{site}"
zone = "{zone}"
[watch]
step_s = {step}
[store]
url = "{url}"
[mqtt]
port = {port}
[alarms]
on_delay_s = 4
off_delay_s = 4
[push]
urls = ["json://127.0.0.1:{push}/{site}"]
[[box]]
name = "north"
[[probe]]
id = "node/air"
box = "north"
place = "air"
[[probe]]
id = "node/soil"
box = "north"
place = "soil"
[[probe]]
id = "node/outside"
box = "outside"
place = "air"
"""


class Allotments:
    """The sites, their nodes, and a web server that takes the pushes."""

    def __init__(self, folder: Path, url: str, port: int) -> None:
        self.folder, self.url = folder, url
        self.sent: Counter[str] = Counter()
        self.pushes: list[tuple[str, str]] = []
        self._stop = threading.Event()
        plot = self

        class Receiver(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers.get("content-length", 0)))
                plot.pushes.append((self.path.strip("/"), json.loads(body)["message"]))
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Receiver)
        threading.Thread(target=self._server.serve_forever, daemon=True).start()
        (folder / "gardens").mkdir()
        for site in SITES:
            text = GARDEN.format(
                site=site, zone=noon_zone(), step=STEP_S, url=url, port=port,
                push=self._server.server_port,
            )  # fmt: skip
            (folder / "gardens" / f"{site}.toml").write_text(text)
        self._node = Client(CallbackAPIVersion.VERSION2, client_id="nodes")
        self._node.connect("127.0.0.1", port)
        self._node.loop_start()
        self._nodes = threading.Thread(target=self._measure, daemon=True)

    def start(self, *, elsewhere: bool = False) -> subprocess.Popen[bytes]:
        """A daemon in waiting for the folder of sites; `elsewhere` under another host's name."""
        command = [sys.executable, "-m", "propstick", "watch", "--standby", "--garden"]
        command.append(str(self.folder / "gardens"))
        if elsewhere:
            # exec, so that the process ended is the daemon itself.
            command = ["unshare", "--uts", "sh", "-c", 'hostname elsewhere && exec "$@"', "sh", *command]
        with self.log.open("ab") as log:
            return subprocess.Popen(command, stdout=log, stderr=log)

    @property
    def log(self) -> Path:
        return self.folder / "watch.log"

    def measure(self) -> None:
        """The nodes begin. Nobody keeps for a watch that has never been there."""
        self._nodes.start()

    def rest(self) -> None:
        """The nodes end; what they sent last arrives at the broker."""
        self._stop.set()
        self._nodes.join(10)
        self._node.loop_stop()
        self._server.shutdown()

    def _measure(self) -> None:
        while not self._stop.wait(STEP_S):
            now_s = math.floor(time.time())
            wave = math.sin(2.0 * math.pi * time.time() / 60.0)
            values = {"air": 27.0 + 2.5 * wave, "soil": 15.0 + wave, "outside": 12.0 + wave}
            pack = [{"n": name, "u": "Cel", "v": round(v, 2), "t": now_s} for name, v in values.items()]
            for site in SITES:
                sent = self._node.publish(f"propstick/{site}/readings/node", json.dumps(pack), qos=1)
                sent.wait_for_publish(10)
                self.sent[site] += len(pack)


def takeover_postgres(rounds: int = 4, *, elsewhere: bool = True) -> list[Figure]:
    """So many kills seen on the same machine, and one that must be waited for as between machines."""
    waits_s: list[float] = []
    apart_s: list[float] = []
    can_be_elsewhere = elsewhere and _may_be_another_host()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        url = stack.enter_context(postgresql(sync=True)).url
        plot = Allotments(folder, url, stack.enter_context(mosquitto()).port)
        store = stack.enter_context(closing(open_store(url)))
        running = [plot.start()]
        try:
            _rows_after(plot, store, time.time())
            plot.measure()
            for k in range(rounds + can_be_elsewhere):
                apart = k == rounds
                running.append(plot.start(elsewhere=apart))
                _until_waiting(plot, k + 1)
                time.sleep(20.0 + 5.0 * k)  # another moment of the minute's wave each time
                killed(running[-2])
                at_s = time.time()
                _rows_after(plot, store, at_s)
                (apart_s if apart else waits_s).append(time.time() - at_s)
            plot.rest()
            time.sleep(4 * STEP_S)
            running[-1].terminate()
            clean = running[-1].wait(30) == 0
        finally:
            for process in running:
                process.kill()
        lost = [plot.sent[site] - _stored(store, site) for site in SITES]
        doubled, alarms, notices, double_pushes = _told(plot, store)
    kills = len(waits_s) + len(apart_s)
    longest_s = lease_s(STEP_S) + SOON_S
    figures = [
        Figure(
            "killed; on the same machine the second watches both sites",
            f"within {SOON_S:.0f} s",
            f"{max(waits_s):.1f} s at worst of {len(waits_s)}, rows every {STEP_S} s",
            max(waits_s) <= SOON_S,
        ),
        Figure(
            "wireless readings lost",
            "none",
            f"{sum(lost)} of {sum(plot.sent.values())} in {kills} kills",
            not any(lost),
        ),
        Figure("alarms raised twice", "none", f"{doubled} of {alarms}", not doubled and alarms > 0),
        Figure(
            "notices handed over twice",
            "at most one a kill and site",
            f"{double_pushes} of {notices}",
            notices > 0 and double_pushes <= kills * len(SITES),
        ),
        Figure("the last stopped in order", "status 0", "yes" if clean else "no", clean),
    ]
    if apart_s:
        figures.insert(
            1,
            Figure(
                f"the same on another host, which must wait for the lease ({lease_s(STEP_S)} s here)",
                f"within {longest_s:.0f} s",
                f"{apart_s[0]:.1f} s",
                apart_s[0] <= longest_s,
            ),
        )
    return figures


def _may_be_another_host() -> bool:
    """Another host's name for one process: root's right, and not in every container."""
    tried = ["unshare", "--uts", "hostname", "elsewhere"]
    try:
        return os.geteuid() == 0 and subprocess.run(tried, capture_output=True, check=False).returncode == 0
    except OSError:
        return False


def _until_waiting(plot: Allotments, times: int) -> None:
    until_s = time.time() + PATIENCE_S
    while plot.log.read_text().count("watch-waiting") < times:
        assert time.time() < until_s, plot.log.read_text()[-2000:]
        time.sleep(0.1)


def _rows_after(plot: Allotments, store: Store, at_s: float) -> None:
    """Waits until every site has a row later than that."""
    until_s = time.time() + PATIENCE_S
    journals = [Journal(store, site) for site in SITES]
    while any((journal.last_row() or 0) <= at_s for journal in journals):
        assert time.time() < until_s, plot.log.read_text()[-2000:]
        time.sleep(0.1)


def _stored(store: Store, site: str) -> int:
    """Readings of different probe or time."""
    readings = ReadingLog(store, site).columns(0, 2**43)
    return int(np.unique(np.stack([readings.time_ms, readings.column]), axis=1).shape[1])


def _told(plot: Allotments, store: Store) -> tuple[int, int, int, int]:
    """Alarms raised more than once, alarms, notices, and pushes beyond one a notice."""
    raised: Counter[tuple[str, str, str]] = Counter()
    wanted: Counter[tuple[str, str]] = Counter()
    for site in SITES:
        journal = Journal(store, site)
        for change in journal.changes(0, 2**33):
            if change["event"] == "raised":
                alarm = change["alarm"]
                raised[site, alarm["box"], f"{alarm['kind']} {alarm['raised']}"] += 1
        wanted.update((site, notice.text) for notice in journal.notices(0, 2**33))
    got = Counter((site, text.partition("\n")[0]) for site, text in plot.pushes)
    more = sum(max(got[key] - wanted[key], 0) for key in got if key in wanted)
    return sum(n - 1 for n in raised.values()), len(raised), sum(wanted.values()), more
