"""The migrating daemon killed (SIGKILL) at random moments: old store or new one, never something between.

And two daemons that come at once: one migrates, and the copy made before stays that of the old store.
"""

from __future__ import annotations

import random
import shutil
import sqlite3
import tempfile
import time
from collections import Counter
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from tests.bench.table import Figure
from tests.faults.next_release import REVISION
from tests.faults.plot import Plot, ended, killed

from propstick.edges import schema
from propstick.edges.database import open_store

DAYS = 90
PROBES = 4
STEP_MS = 300_000
PATIENCE_S = 60.0
LATEST_S = 0.5
"""About what the daemon takes from the beginning of the copy to its first row here, or a little more."""


@dataclass
class Found:
    """What so many kills left behind."""

    kills: int = 0
    hit: Counter[str] = field(default_factory=Counter)
    broken: list[str] = field(default_factory=list)
    completed: int = 0
    rounds: int = 0
    backups: int = 0
    pairs: int = 0
    pairs_right: int = 0
    wrong: list[str] = field(default_factory=list)


def migration(count: int = 60, pairs: int = 20, *, seed: int = 1) -> list[Figure]:
    """`count` kills, each store killed at until it has migrated; then the pairs."""
    found, chance = Found(), random.Random(seed)
    with tempfile.TemporaryDirectory() as name:
        old = Path(name) / "old.db"
        wanted = _old_store(old)
        while found.kills < count:
            folder = Path(name) / f"plot-{found.rounds}"
            folder.mkdir()
            _round(folder, old, wanted, found, chance, count)
            shutil.rmtree(folder)
        while found.pairs < pairs:
            folder = Path(name) / f"pair-{found.pairs}"
            folder.mkdir()
            _pair(folder, old, wanted, found, chance)
            shutil.rmtree(folder)
    where = ", ".join(f"{times} {place}" for place, times in sorted(found.hit.items()))
    return [
        Figure(
            "kill -9 in a migration: sound, old or new revision, every row",
            "always",
            f"{len(found.broken)} broken of {found.kills} kills ({where})"
            + "".join(f"; {b}" for b in found.broken[:3]),
            not found.broken and found.kills >= count,
        ),
        Figure(
            "the same: the next start left alone completes it",
            "always",
            f"{found.completed} of {found.rounds} stores, {sum(wanted.values()):,} rows each",
            found.completed == found.rounds,
        ),
        Figure(
            "the same: the copy made before is whole and of the old revision",
            "always",
            f"{found.backups} of {found.rounds}",
            found.backups == found.rounds,
        ),
        Figure(
            "two daemons at once on an old store: migrated once, one copy, of the old revision, one watch",
            "always",
            f"{found.pairs_right} of {found.pairs}" + "".join(f"; {w}" for w in found.wrong[:3]),
            found.pairs_right == found.pairs >= pairs,
        ),
    ]


def _round(
    folder: Path, old: Path, wanted: dict[str, int], found: Found, chance: random.Random, most: int
) -> None:
    plot = Plot(folder)
    shutil.copyfile(old, plot.database)
    found.rounds += 1
    try:
        while found.kills < most:
            process = plot.start(module="tests.faults.next_release")
            if chance.random() < 0.9:
                _begun(plot.database)
            time.sleep(chance.uniform(0.0, LATEST_S))
            assert process.poll() is None, (folder / "watch.log").read_text()[-2000:]
            killed(process)
            found.kills += 1
            before = "at the step or beside it" if _copies(plot.database) else "before the copy"
            parted = any(plot.database.parent.glob("plot.db.revision-*.part"))
            revision, rows, sound = _seen(plot.database)
            place = "after the step" if revision == REVISION else "amid the copy" if parted else before
            found.hit[place] += 1
            if not sound or revision not in (schema.REVISION, REVISION) or not _all(rows, wanted):
                found.broken.append(f"{place}: revision {revision}, sound {sound}, {rows}")
            if revision == REVISION:
                break
        process = plot.start(module="tests.faults.next_release")
        until_s = time.time() + PATIENCE_S
        while _seen(plot.database)[0] != REVISION and time.time() < until_s and process.poll() is None:
            time.sleep(0.2)
        time.sleep(2.0)
        is_up = process.poll() is None
        ended(process)
        revision, rows, sound = _seen(plot.database)
        found.completed += is_up and sound and revision == REVISION and _all(rows, wanted)
        found.backups += _is_old_whole(_copies(plot.database), wanted)
    finally:
        plot.close()


def _pair(folder: Path, old: Path, wanted: dict[str, int], found: Found, chance: random.Random) -> None:
    """The second daemon starts at any moment of the first one's migration, or right with it."""
    plot = Plot(folder)
    shutil.copyfile(old, plot.database)
    found.pairs += 1
    try:
        both = [plot.start(module="tests.faults.next_release")]
        if chance.random() < 0.5:
            _begun(plot.database)
            time.sleep(chance.uniform(0.0, LATEST_S))
        both.append(plot.start(module="tests.faults.next_release"))
        until_s = time.time() + PATIENCE_S
        while time.time() < until_s and [process.poll() for process in both].count(None) != 1:
            time.sleep(0.1)
        while time.time() < until_s and plot.last_row_s() == 0:
            time.sleep(0.1)
        ups = [process for process in both if process.poll() is None]
        for process in ups:
            ended(process)
        revision, rows, sound = _seen(plot.database)
        is_migrated = sound and revision == REVISION and _all(rows, wanted)
        copies = _copies(plot.database)
        is_right = is_migrated and len(ups) == 1 and _is_old_whole(copies, wanted)
        found.pairs_right += is_right
        if not is_right:
            found.wrong.append(f"{len(ups)} up, revision {revision}, copies {[c.name for c in copies]}")
    finally:
        plot.close()


def _copies(database: Path) -> list[Path]:
    """Whole copies made before a step."""
    return sorted(p for p in database.parent.glob(f"{database.name}.revision-*") if ".part" not in p.name)


def _is_old_whole(copies: list[Path], wanted: dict[str, int]) -> bool:
    if len(copies) != 1:
        return False
    revision, rows, sound = _seen(copies[0])
    return sound and revision == schema.REVISION and rows == wanted


def _begun(database: Path) -> None:
    """Waits until somebody migrates, by the kernel's list of locks: the time before that is Python's.

    Asking for the lock itself would be in the way of those who are watched.
    """
    folder = f":{database.parent.stat().st_ino} "
    until_s = time.time() + PATIENCE_S
    while time.time() < until_s:
        locks = Path("/proc/locks").read_text().splitlines()
        if any("FLOCK" in line and folder in line for line in locks):
            return
        time.sleep(0.002)


def _old_store(path: Path) -> dict[str, int]:
    """A store of this release with three months of readings in it; returns the rows of each table."""
    with closing(open_store(f"sqlite:///{path}")) as store:
        store.site("plot")
    first_ms = 1_772_323_200_000
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.executemany(
            "INSERT INTO readings (site, time_ms, probe, raw_cc, flags) VALUES (1, ?, ?, ?, 0)",
            (
                (first_ms + row * STEP_MS, probe, 1500 + row % 70)
                for row in range(DAYS * 86_400_000 // STEP_MS)
                for probe in range(1, PROBES + 1)
            ),
        )
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode=delete")
    return _seen(path)[1]


def _seen(path: Path) -> tuple[str, dict[str, int], bool]:
    """Revision, rows by table, soundness: in SQL's own words, with none of our code between."""
    if not path.exists():
        return "", {}, False
    with closing(sqlite3.connect(path, timeout=20)) as connection:
        sound = connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        (revision,) = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        tables = ("readings", "sites")
        rows = {t: connection.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in tables}
        if revision == REVISION:
            (summed,) = connection.execute("SELECT sum(readings) FROM invented_days").fetchone()
            sound = sound and summed <= rows["readings"]
            sound = sound and summed >= DAYS * PROBES * 86_400_000 // STEP_MS
        else:
            names = "SELECT count(*) FROM sqlite_master WHERE name IN ('invented_days', 'ix_invented')"
            sound = sound and connection.execute(names).fetchone() == (0,)
    return revision, rows, sound


def _all(rows: dict[str, int], wanted: dict[str, int]) -> bool:
    """The watch adds rows of its own once it runs."""
    return all(rows.get(table, 0) >= count for table, count in wanted.items())
