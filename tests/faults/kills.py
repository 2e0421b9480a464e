"""The real daemon killed (SIGKILL) at random moments, over and over, and a backup beside it likewise."""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from tests.bench.table import Figure
from tests.faults.plot import STEP_S, Plot, ended, killed

from propstick.app.garden_file.load import load
from propstick.app.replay.run import alarms_of, run
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.maintenance import quick_check
from propstick.edges.readings import ReadingLog
from propstick.engine.pipeline import begin

PLOTS = 3
LOST_AT_MOST_S = 60
START_S = 6.0
"""How long a daemon may take to its first row: a busy machine, and the rows since its checkpoint again."""
SOON_S = 2
"""How near the kill the last stored row must be, beyond the row's own step and its commit."""


@dataclass(frozen=True)
class Lived:
    """What one plot went through: kills in the watch, worst loss, alarms, and what the receiver got."""

    kills: int
    worst_loss_s: float
    stored_alarms: frozenset[str]
    replayed_alarms: frozenset[str]
    doubled_rows: int
    doubled_pushes: int
    notices: int
    sound: bool


def kills(count: int = 300) -> list[Figure]:
    """`count` kills spread over three plots that live side by side."""
    with ThreadPoolExecutor(PLOTS) as pool:
        plots = list(pool.map(_live, range(PLOTS), [max(count // PLOTS, 1)] * PLOTS))
    total = sum(plot.kills for plot in plots)
    lost = sum(len(plot.replayed_alarms - plot.stored_alarms) for plot in plots)
    alarms = sum(len(plot.stored_alarms) for plot in plots)
    doubled = sum(plot.doubled_pushes for plot in plots)
    worst_s = max(plot.worst_loss_s for plot in plots)
    return [
        Figure(
            "kill -9: rows lost, or not stored by a daemon at work",
            f"<= {LOST_AT_MOST_S} s",
            f"{worst_s:.1f} s at worst, {total} kills",
            worst_s <= LOST_AT_MOST_S,
        ),
        Figure(
            "kill -9: rows stored twice",
            "none",
            f"{sum(p.doubled_rows for p in plots)} of {total} kills",
            not any(p.doubled_rows for p in plots),
        ),
        Figure(
            "kill -9: alarms lost",
            "none",
            f"{lost} of {alarms}, beside a replay of what was stored",
            not lost,
        ),
        Figure(
            "kill -9: notices handed over twice",
            "none",
            f"{doubled} of {sum(p.notices for p in plots)} in {total} kills",
            not doubled,
        ),
        Figure(
            "kill -9: store sound afterwards",
            "always",
            f"{sum(p.sound for p in plots)} of {len(plots)} plots",
            all(plot.sound for plot in plots),
        ),
    ]


def _live(seed: int, count: int) -> Lived:
    chance = random.Random(seed)
    with tempfile.TemporaryDirectory() as name:
        plot = Plot(Path(name))
        worst_s = 0.0
        try:
            for _ in range(count):
                process, started_s = plot.start(), time.time()
                if chance.random() < 0.2:
                    _backup_killed(plot, chance)
                time.sleep(chance.uniform(0.3, 9.0))
                was_up = process.poll() is None
                seen_s = plot.last_row_s()
                at_s = time.time()
                killed(process)
                assert was_up, (plot.folder / "watch.log").read_text()[-2000:]
                worst_s = max(worst_s, _lost_s(plot, started_s, seen_s, at_s))
            process = plot.start()
            time.sleep(12.0)
            assert ended(process) == 0
            return _judged(plot, count, worst_s)
        finally:
            plot.close()


def _backup_killed(plot: Plot, chance: random.Random) -> None:
    """A backup beside the watch, ended in the middle of its work."""
    copy = str(plot.folder / "copy.db")
    process = subprocess.Popen(
        [sys.executable, "-m", "propstick", "backup", copy, "--garden", str(plot.file)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    time.sleep(chance.uniform(0.2, 0.9))
    killed(process)


def _lost_s(plot: Plot, started_s: float, seen_s: int, killed_s: float) -> float:
    """Seconds of rows that were stored before the kill and are gone, or that a daemon at work did not store.

    Args:
        seen_s: Newest row another process saw in the store just before.
    """
    last_s = plot.last_row_s()
    if last_s < seen_s:
        return float(seen_s - last_s)
    # A daemon that has had time to start must have stored every row but the one in the making.
    since_s = max(last_s, started_s + START_S)
    return max(killed_s - since_s - 2 * STEP_S - SOON_S, 0.0)


def _judged(plot: Plot, count: int, worst_s: float) -> Lived:
    garden = load(plot.file).garden
    with closing(open_store(f"sqlite:///{plot.database}")) as store:
        journal, log = Journal(store, "plot"), ReadingLog(store, "plot")
        readings = log.columns(0, 2**43)
        first_s, last_s = int(readings.time_ms.min()) // 1000, journal.last_row()
        stored = frozenset(alarm["id"] for alarm in journal.alarms(0, 2**33))
        notices = [n for n in journal.notices(0, 2**33) if "brief" not in n.kinds]
        sound = quick_check(store) == ""
    state, said, _ = run(begin(garden), readings, (), from_s=first_s, to_s=last_s)
    again = frozenset(alarm.id for alarm in alarms_of(said, state) if ".heat." in alarm.id)
    pairs = np.unique(np.stack([readings.time_ms, readings.column]), axis=1).shape[1]
    wanted = Counter(notice.text for notice in notices)
    got = Counter(message.partition("\n")[0] for message in plot.pushes)
    doubled = sum(max(got[text] - wanted[text], 0) for text in got if text in wanted)
    return Lived(count, worst_s, stored, again, len(readings) - pairs, doubled, len(notices), sound)
