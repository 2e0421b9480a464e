"""Whole processes: memory, processor time, start-up, and how soon a push is handed over."""

from __future__ import annotations

import http.server
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.bench.table import Figure, best_of
from tests.noon import noon_zone

from propstick.app.garden_file.settings import Settings, StoreSettings
from propstick.app.live.wiring import assemble
from propstick.edges.onewire import find_buses
from propstick.edges.onewire_tree import Tree, blocking_trigger
from propstick.garden import Box, Garden, Probe, Site
from propstick.ports import Delivery
from propstick.records import Notice
from propstick.testing import FakeBus, HandClock

CONVERSION_S = 0.75
PROBES = 16
NOON_S = 1_790_251_200


def probes() -> list[Figure]:
    """Sixteen probes on one bus whose trigger blocks as long as the real one."""
    with tempfile.TemporaryDirectory() as folder:
        tree = Tree(Path(folder), conversion_ms=750)
        for k in range(PROBES):
            tree.add(f"28-{k:012x}")
        (bus,) = find_buses(tree.path)
        bus._trigger = blocking_trigger(time.sleep, CONVERSION_S)
        took_s = best_of(2, lambda: bus.read(NOON_S))
        floor_s = best_of(2, lambda: time.sleep(CONVERSION_S))
    ratio = took_s / floor_s
    said = f"{ratio:.2f} conversions ({took_s:.2f} s; bus time of real wires not in it)"
    return [Figure("16 wired probes read", "1 conversion + bus time", said, ratio < 1.5)]


class _Listening:
    """A channel that notes when it was handed something."""

    name = "phone"

    def __init__(self) -> None:
        self.handed = threading.Event()
        self.at = 0.0

    def send(self, notice: Notice, *, link: str | None = None) -> Delivery:
        if "heat" in notice.kinds:
            self.at = time.perf_counter()
            self.handed.set()
        return Delivery(ok=True)


def push() -> list[Figure]:
    """From the start of the row that meets the on-delay to the channel, through store and thread."""
    garden = Garden(
        site=Site(name="bench"),
        boxes=(Box(name="north"),),
        probes=(Probe(id="a", box="north", place="air"),),
    )
    phone = _Listening()
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(garden=garden, store=StoreSettings(url=f"sqlite:///{folder}/p.db"))
        assembly = assemble(
            settings, clock=HandClock(NOON_S), watches_file=False, channels={"phone": phone},
            buses=lambda: [FakeBus(source=lambda t: {"a": 35.0 if t > NOON_S + 300 else 20.0})],
        )  # fmt: skip
        assembly.delivery.start()
        begun = 0.0
        for _ in range(12):
            row = assembly.watch._rows.next_row()
            begun = time.perf_counter()
            assembly.watch.do_row(row)
            if any(alarm.kind == "heat" for alarm in assembly.watch.state.open_alarms):
                break
        assert phone.handed.wait(30)
        took_s = phone.at - begun
        assembly.close()
    said = f"{took_s:.2f} s after the row began"
    return [Figure("on-delay met to push handed over", "one step + 1 s", said, took_s <= 1.0)]


@contextmanager
def _garden(step_s: int) -> Iterator[tuple[Path, threading.Event]]:
    """A garden file with sixteen wired probes, one of them hot, and a web receiver for the push."""
    told = threading.Event()

    class Receiver(http.server.BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            self.rfile.read(int(self.headers.get("content-length", 0)))
            self.send_response(200)
            self.end_headers()
            told.set()

        def log_message(self, *_: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Receiver)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        tree = Tree(folder / "w1")
        lines = [
            '[site]\nname = "bench"\nlatitude = 51.0\nlongitude = 0.0\n',
            f'zone = "{noon_zone()}"\n',
            f'[watch]\nstep_s = {step_s}\n[onewire]\ntree = "w1"\n',
            "[alarms]\non_delay_s = 2\n",
            f'[push]\nurls = ["json://127.0.0.1:{server.server_port}/hook"]\n',
        ]
        boxes = [f"box{k}" for k in range(7)]
        lines += [f'[[box]]\nname = "{box}"\n' for box in boxes]
        for k, (box, place) in enumerate((b, p) for b in ("outside", *boxes) for p in ("air", "soil")):
            tree.add(f"28-{k:012x}", 35.0 if box == "box3" else 12.0)
            lines.append(f'[[probe]]\nid = "28-{k:012x}"\nbox = "{box}"\nplace = "{place}"\n')
        (folder / "garden.toml").write_text("".join(lines))
        yield folder, told
    server.shutdown()


@contextmanager
def _running(folder: Path, command: str) -> Iterator[int]:
    process = subprocess.Popen(
        [sys.executable, "-m", "propstick", command, "--garden", str(folder / "garden.toml")],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        yield process.pid
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(20)


def _resident_mib(pid: int) -> float:
    fields = Path(f"/proc/{pid}/status").read_text().split("VmRSS:")[1].split()
    return int(fields[0]) / 1024


def memory() -> list[Figure]:
    """Both processes, after a push has gone out."""
    with _garden(2) as (folder, told), _running(folder, "watch") as watch:
        told.wait(90)
        with _running(folder, "serve") as serve:
            time.sleep(8)
            daemon, api = _resident_mib(watch), _resident_mib(serve)
    said = f"{daemon + api:.0f} MiB (watch {daemon:.0f}, serve {api:.0f}; push sent: {told.is_set()})"
    return [Figure("daemon + API resident", "<= 160 MiB", said, daemon + api <= 160 and told.is_set())]


def cpu() -> list[Figure]:
    """Processor time of a row, from many rows on a short grid, as a share of a 60 s grid."""
    step_s, seconds = 2, 60
    with _garden(step_s) as (folder, told), _running(folder, "watch") as pid:
        told.wait(60)
        time.sleep(4)
        begun = _processor_s(pid)
        time.sleep(seconds)
        per_row = (_processor_s(pid) - begun) / (seconds / step_s)
    share = per_row / 60
    said = f"{share:.2%} ({per_row * 1000:.0f} ms a row)"
    return [Figure("CPU of the watch on a 60 s grid, 16 probes", "<= 1 % of a core", said, share <= 0.01)]


def _processor_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def commands() -> list[Figure]:
    with _garden(60) as (folder, _):
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "check": False}
        bare = best_of(5, lambda: subprocess.run([sys.executable, "-c", "pass"], **quiet))
        help_s = best_of(5, lambda: subprocess.run([sys.executable, "-m", "propstick", "--help"], **quiet))
        words = [sys.executable, "-m", "propstick", "check", "--garden", str(folder / "garden.toml")]
        check_s = best_of(5, lambda: subprocess.run(words, **quiet))
    return [
        Figure("propstick --help", "<= 0.15 s", f"{help_s:.2f} s (bare Python {bare:.2f})", help_s <= 0.15),
        Figure(
            "propstick check", "<= 0.5 s", f"{check_s:.2f} s ({check_s / bare:.0f} x bare)", check_s <= 0.5
        ),
    ]
