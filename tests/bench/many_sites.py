"""Many sites on one machine: `python -m tests.bench.many_sites [--briefs] [N ...]`.

N sites of eight probes, each with three days behind it, send a reading a probe and minute through a
real mosquitto to real daemons (`propstick watch --garden FOLDER`, a folder for every thousand sites)
that store in a real PostgreSQL, every commit synced; the first N in SQLite too. Counted over a few
minutes: processor time by part, rows that were stored before the next fell due, memory. The nodes run
on the same machine and are counted apart. With `--briefs`, on PostgreSQL only, the first of those
minutes is that of everybody's morning brief, and each is pushed to a phone of its own.
"""

from __future__ import annotations

import json
import math
import multiprocessing
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import psutil
from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion
from sqlalchemy import text
from tests.bench.many_phones import Phones, phones
from tests.bench.season import garden, values
from tests.noon import noon_zone
from tests.servers import mosquitto, postgresql

from propstick.app.garden_file.load import load
from propstick.blocks import Block, Flag
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.store import Store
from propstick.engine import snapshot
from propstick.engine.pipeline import EngineState, advance, begin
from propstick.records import Outcome
from propstick.times import DAY_S

STEP_S, DAYS = 60, 3
SITES_A_DAEMON = 1000
"""One daemon keeps one core busy."""
ROWS = 3
SENT_AFTER_S = 20
"""Nodes send in the middle of the minute, all within some ten seconds."""
NODE = "n1"
BRIEF_AFTER_S, BRIEF_AFTER_A_SITE_S = 180.0, 0.2
"""Time for all to be watching before the minute of the briefs."""


@dataclass(frozen=True)
class Found:
    """One run. Milliseconds of processor time are for one row of one site."""

    sites: int
    database: str
    daemons: int
    start_s: float
    watch_ms: float
    database_ms: float
    broker_ms: float
    nodes_ms: float
    rows: int
    on_time: int
    half_s: float
    last_s: float
    readings: int
    sent: int
    watch_mib: float
    watch_mib_a_site: float
    database_mib: float
    busy: float
    pushed: str = "-"
    """Briefs that came, and how long after their row the last did."""


def measure(sites: int, database: str, rows: int = ROWS, *, briefs: bool = False) -> Found:
    """Runs `sites` sites for `rows` minutes; with `briefs` the first of them is that of the morning brief."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(dir=".")))
        on_server = database == "postgresql"
        server = stack.enter_context(postgresql(sync=True, connections=300)) if on_server else None
        url = server.url if server else f"sqlite:///{folder.resolve()}/many.db"
        broker = stack.enter_context(mosquitto())
        names = [f"plot{k}" for k in range(sites)]
        brief_s = int(time.time() + BRIEF_AFTER_S + BRIEF_AFTER_A_SITE_S * sites) // STEP_S * STEP_S
        pushed = stack.enter_context(phones(folder)) if briefs else None
        folders = _gardens(folder, names, url, broker.port, _person(brief_s, pushed) if pushed else "")
        store = stack.enter_context(closing(open_store(url)))
        _lived(store, names, load(next(folders[0].glob("*.toml"))).garden)
        begun = time.time()
        daemons = [stack.enter_context(_daemon(gardens)) for gardens in folders]
        _until(lambda: len(_progress(store)) == sites and min(_progress(store).values()) > begun, 600)
        start_s = time.time() - begun
        nodes = stack.enter_context(_nodes(names, broker.port))
        time.sleep(5.0)  # the nodes' process begins
        sent_s = time.time() + STEP_S - (time.time() - SENT_AFTER_S) % STEP_S
        first_s = (int(sent_s) // STEP_S + 1) * STEP_S  # the first row that finds readings
        if briefs:
            assert first_s <= brief_s, "not all were watching before their brief"
            first_s = brief_s
        _until(lambda: time.time() >= first_s - 1, first_s + 3 * STEP_S - time.time())
        parts = {
            "watch": [daemon.pid for daemon in daemons],
            "database": [server.pid] if server else [],
            "broker": [broker.pid],
            "nodes": [nodes.pid, *([pushed.pid] if pushed else [])],
        }
        at, idle = {name: _cpu_s(pids) for name, pids in parts.items()}, psutil.cpu_times()
        stored_at = _follow(store, [first_s + STEP_S * k for k in range(rows)], sites)
        took = {name: 1000 * (_cpu_s(pids) - at[name]) / (sites * rows) for name, pids in parts.items()}
        assert all(daemon.poll() is None for daemon in daemons), "a daemon has ended"
        idle_s = psutil.cpu_times().idle - idle.idle
        watch_mib = sum(_memory_mib(pid) for pid in parts["watch"])
        counted = _readings(store, first_s, first_s + STEP_S * rows)
        late = sorted(at_s - row_s for (row_s, _site), at_s in stored_at.items())
        for daemon in daemons:
            daemon.terminate()  # all at once, not one after another
        return Found(
            sites, database, len(daemons), start_s, took["watch"], took["database"], took["broker"],
            took["nodes"], sites * rows, sum(one < STEP_S for one in late),
            late[len(late) // 2] if late else math.nan, late[-1] if late else math.nan,
            counted, sites * rows * 8, watch_mib, watch_mib / sites,
            sum(_memory_mib(pid) for pid in parts["database"]),
            1 - idle_s / (STEP_S * rows * (os.cpu_count() or 1)),
            _pushed(pushed.came(), brief_s) if pushed else "-",
        )  # fmt: skip


def _person(brief_s: int, phone: Phones) -> str:
    """For each file: everybody leaves home at the same time, and is told at `brief_s` what to do before."""
    zone = noon_zone()
    leaves = datetime.fromtimestamp(brief_s + 1800, ZoneInfo(zone))
    return (
        f'[person]\nleaves = "{leaves:%H:%M}"\nback = "18:00"\n'
        'away_days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]\n'
        f'[push]\nmorning_before_minutes = 30\nurls = ["json://127.0.0.1:{phone.port}/SITE"]\n'
    )


def _pushed(came: dict[str, list[float]], brief_s: int) -> str:
    since = sorted(at_s - brief_s for times in came.values() for at_s in times if at_s >= brief_s)
    return f"{len(since):,} of {len(came):,} sites, the last {since[-1]:.0f} s after" if since else "none"


def _gardens(folder: Path, names: Sequence[str], url: str, port: int, person: str = "") -> list[Path]:
    """Garden files, a folder for each daemon."""
    zone = noon_zone() if person else "Europe/London"
    plot = garden(3)
    folders = []
    for k, name in enumerate(names):
        if k % SITES_A_DAEMON == 0:
            folders.append(folder / f"gardens{k // SITES_A_DAEMON}")
            folders[-1].mkdir()
        lines = [
            f'[site]\nname = "{name}"\nlatitude = 51.0\nlongitude = 0.0\nzone = "{zone}"\n',
            person.replace("SITE", name),
            f'[store]\nurl = "{url}"\n[mqtt]\nport = {port}\n[onewire]\ntree = "none"\n',
            *(f'[[box]]\nname = "{box.name}"\n' for box in plot.boxes),
        ]
        for number, probe in enumerate(plot.probes):
            lines.append(f'[[probe]]\nid = "{NODE}/p{number}"\n')
            lines.append(f'box = "{probe.box}"\nplace = "{probe.place}"\n')
        (folders[-1] / f"{name}.toml").write_text("".join(lines))
    return folders


def _lived(store: Store, names: Sequence[str], plot: object) -> None:
    """Every site as it is after three days, so that each row makes every forecast."""
    last_s = int(time.time()) // STEP_S * STEP_S
    state = _three_days(plot, last_s)
    for name in names:
        own = replace(state, garden=replace(state.garden, site=replace(state.garden.site, name=name)))
        journal = Journal(store, name)
        journal.commit(row_s=last_s, readings=(), outcome=Outcome(), checkpoint=snapshot.dump(own))


def _three_days(plot: object, last_s: int) -> EngineState:
    state = begin(plot)
    ids = tuple(probe.id for probe in plot.probes)
    table = np.round(values(DAYS + 1, len(ids)), 2)
    first_s = last_s - DAYS * DAY_S + STEP_S
    offset = first_s % DAY_S // STEP_S  # noon is noon
    for day in range(DAYS):
        rows = table[offset + day * 1440 : offset + (day + 1) * 1440]
        flags = np.zeros(rows.shape, dtype=np.uint16)
        state, _ = advance(state, Block(first_s + DAY_S * day, STEP_S, ids, rows, flags), ())
    return state


@contextmanager
def _daemon(gardens: Path) -> Iterator[subprocess.Popen[bytes]]:
    with (gardens.with_suffix(".log")).open("wb") as log:
        command = [sys.executable, "-m", "propstick", "watch", "--garden", str(gardens)]
        process = subprocess.Popen(command, stdout=log, stderr=log)
    try:
        yield process
    finally:
        process.terminate()
        try:
            process.wait(120)
        except subprocess.TimeoutExpired:
            process.kill()


@contextmanager
def _nodes(names: Sequence[str], port: int) -> Iterator[multiprocessing.Process]:
    """All nodes in one process: what they cost is not ours."""
    process = multiprocessing.get_context("spawn").Process(target=_send, args=(names, port), daemon=True)
    process.start()
    try:
        yield process
    finally:
        process.terminate()
        process.join(10)


def _send(names: Sequence[str], port: int) -> None:
    client = Client(CallbackAPIVersion.VERSION2, client_id="nodes", protocol=MQTTv5)
    client.max_queued_messages_set(0)
    client.connect("127.0.0.1", port)
    client.loop_start()
    table = values(1, 8)
    while True:
        time.sleep(STEP_S - (time.time() - SENT_AFTER_S) % STEP_S)
        now_s = int(time.time())
        row = table[now_s % DAY_S // STEP_S]
        pack = json.dumps([{"n": f"p{k}", "u": "Cel", "v": v, "t": now_s} for k, v in enumerate(row)])
        for k, name in enumerate(names):
            client.publish(f"propstick/{name}/readings/{NODE}", pack, qos=1)
            if k % 50 == 49:
                time.sleep(10.0 / max(len(names) / 50, 1))


def _progress(store: Store) -> dict[int, int]:
    with store.read() as connection:
        found = connection.execute(text("SELECT site, row_s FROM progress"))
        return {int(site): int(row_s) for site, row_s in found}


def _follow(store: Store, rows: Sequence[int], sites: int) -> dict[tuple[int, int], float]:
    """When each row of each site was first seen stored, to half a second; ends a step after the last row."""
    seen: dict[tuple[int, int], float] = {}
    while time.time() < rows[-1] + STEP_S - 1:
        now_s, progress = time.time(), _progress(store)
        for site, row_s in progress.items():
            if row_s in rows:
                seen.setdefault((row_s, site), now_s)
        time.sleep(0.5)
    return seen


def _readings(store: Store, from_s: int, to_s: int) -> int:
    query = text(
        "SELECT count(*) FROM readings WHERE time_ms >= :a AND time_ms < :b "
        f"AND (flags & {int(Flag.LATE)}) = 0"
    )
    # Row t takes what came in the step before it.
    window = {"a": (from_s - STEP_S) * 1000, "b": (to_s - STEP_S) * 1000}
    with store.read() as connection:
        return int(connection.scalar(query, window) or 0)


def _family(pids: Sequence[int]) -> list[psutil.Process]:
    found = [psutil.Process(pid) for pid in pids]
    return [*found, *(child for one in found for child in one.children(recursive=True))]


def _cpu_s(pids: Sequence[int]) -> float:
    """Their own, and that of processes of theirs which have come and gone."""
    living = sum(sum(process.cpu_times()[:2]) for process in _family(pids))
    return living + sum(sum(psutil.Process(pid).cpu_times()[2:4]) for pid in pids)


def _memory_mib(pid: int) -> float:
    """Shared pages divided among those who share them."""
    return sum(process.memory_full_info().pss for process in _family([pid])) / 2**20


def _until(holds: Callable[[], bool], within_s: float) -> None:
    until_s = time.time() + within_s
    while not holds():
        assert time.time() < until_s, "not in time"
        time.sleep(0.5)


HEAD = (
    "| sites | database | daemons | all watching after "
    "| CPU ms a site and row: watch / database / broker (nodes) | rows on time | half / all stored after "
    "| readings | memory: a site / watches / database | cores busy | briefs pushed |"
)


def line(found: Found) -> str:
    """A row of the table in DEVELOPERS.md."""
    return (
        f"| {found.sites:,} | {found.database} | {found.daemons} | {found.start_s:.0f} s "
        f"| {found.watch_ms:.1f} / {found.database_ms:.1f} / {found.broker_ms:.2f} ({found.nodes_ms:.2f}) "
        f"| {found.on_time:,} of {found.rows:,} | {found.half_s:.1f} / {found.last_s:.1f} s "
        f"| {found.readings:,} of {found.sent:,} "
        f"| {found.watch_mib_a_site:.1f} / {found.watch_mib:.0f} / {found.database_mib:.0f} MiB "
        f"| {found.busy:.0%} | {found.pushed} |"
    )


def main(words: Sequence[str]) -> int:
    briefs = "--briefs" in words
    numbers = [int(word) for word in words if word != "--briefs"] or [10, 100, 500]
    print(HEAD)
    print("|" + " --- |" * 11, flush=True)
    runs = [(n, "postgresql") for n in numbers]
    if not briefs:
        runs.insert(0, (numbers[0], "sqlite"))
    all_on_time = True
    for sites, database in runs:
        found = measure(sites, database, briefs=briefs)
        print(line(found), flush=True)
        all_on_time &= found.on_time == found.rows
    return 0 if all_on_time else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
