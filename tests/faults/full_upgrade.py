"""A new release started on an old store on a really full disk (tmpfs). Needs the right to mount."""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
import subprocess
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from tests.bench.table import Figure
from tests.faults.little_disk import PATIENCE_S, fill, little_disk, until
from tests.faults.plot import Plot, ended, killed

from propstick.edges import migrations, schema
from propstick.edges.database import _checked, _engine
from propstick.edges.reserve import Reserve
from propstick.edges.store import Store

LEFT_MIB = 2
DAYS, PROBES, STEP_MS = 90, 4, 300_000


def full_upgrade() -> list[Figure]:
    """Little room, none at all, room kept back, room again: each a start of the real daemon."""
    with little_disk() as made:
        if made is None:
            return [Figure("an upgrade on a full disk", "warned", "not tried: may not mount", False)]
        return [*_without_reserve(*made), *_with_reserve(*made)]


def _without_reserve(plot: Plot, mount: Path) -> list[Figure]:
    rows = _old_store(plot.database)
    _fill(mount, left=LEFT_MIB * 2**20)
    watch = plot.start()
    heat_s, told = _warned_s(plot, "lane"), _told(plot, "MiB")
    until(lambda: _revision(plot.database) == "0001" and _count(plot.database) > rows)
    stored = _count(plot.database) - rows
    put_off = watch.poll() is None and _revision(plot.database) == "0001" and not _copies(mount)
    killed(watch)
    with _nothing_left(mount):
        watch = plot.start()
        frost_s = _warned_s(plot, "yard", air_c=-6.0)
        is_up = watch.poll() is None
        killed(watch)
    assert ended(_up(plot)) == 0  # closes the store, so that no log lies beside it
    with _nothing_left(mount):
        refused = plot.start()
        code = refused.wait(PATIENCE_S)
        said = (plot.folder / "watch.log").read_text()[-600:]
    refused_in_words = code != 0 and "the disk is full" in said and "free some space" in said
    (mount / "filler").unlink()
    before = _count(plot.database)
    assert ended(_up(plot, revision=schema.REVISION)) == 0
    copies = _copies(mount)
    kept = [(_revision(copy), _count(copy)) for copy in copies]
    after = _count(plot.database)
    for copy in copies:
        copy.unlink()
    return [
        Figure(
            f"an upgrade with {LEFT_MIB} MiB free: the watch works on the old store, and says what to free",
            "warned, stored, told",
            f"heat told after {heat_s:.1f} s, {stored} readings stored; {told!r}",
            put_off and stored > 0 and bool(re.search(r"free \d+ MiB", told)),
        ),
        Figure(
            "the same with no byte free, after a kill: still warned",
            "warned",
            f"frost told after {frost_s:.1f} s",
            is_up and frost_s < PATIENCE_S,
        ),
        Figure(
            "the same with no byte free, after a clean stop: SQLite cannot open it, and it says so in words",
            "refused in words",
            "refused in words" if refused_in_words else f"status {code}: {said}",
            refused_in_words,
        ),
        Figure(
            "room again: the next start brings it up to date, after a copy of every row",
            "always",
            f"{after:,} readings after, {before:,} before; copies {kept}",
            kept == [("0001", before)] and after >= before >= rows + stored,
        ),
    ]


def _with_reserve(plot: Plot, mount: Path) -> list[Figure]:
    for path in mount.glob("plot.db*"):
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    rows = _old_store(plot.database)
    assert Reserve(plot.database).hold(spare=0)
    plot.air_c.update(lane=18.0, yard=18.0)
    with _nothing_left(mount):
        watch = _up(plot, revision=schema.REVISION)
        heat_s = _warned_s(plot, "lane")
        is_up = watch.poll() is None
        kept = [(_revision(copy), _count(copy)) for copy in _copies(mount)]
        after = _count(plot.database)
        killed(watch)
    return [
        Figure(
            "no byte free but the room kept back: brought up to date in that, and warned",
            "always",
            f"{after:,} readings of {rows:,}; copies {kept}; heat told after {heat_s:.1f} s",
            is_up and kept == [("0001", rows)] and after > rows and heat_s < PATIENCE_S,
        )
    ]


def _old_store(path: Path) -> int:
    """A store as the first release left it, with three months of readings; returns how many."""
    store = Store(_engine(_checked(f"sqlite:///{path}")))
    migrations.upgrade(store, "0001")
    store.site("plot")
    store.close()
    first_ms, many = 1_772_323_200_000, DAYS * 86_400_000 // STEP_MS
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.executemany(
            "INSERT INTO readings (site, time_ms, probe, raw_cc, flags) VALUES (1, ?, ?, ?, 0)",
            (
                (first_ms + row * STEP_MS, probe, 1500 + row % 70)
                for row in range(many)
                for probe in range(1, PROBES + 1)
            ),
        )
    return many * PROBES


def _up(plot: Plot, *, revision: str = "0001") -> subprocess.Popen[bytes]:
    """The daemon once it has stored a row, on a store of that revision."""
    begun_s = time.time()
    watch = plot.start()
    until(lambda: _revision(plot.database) == revision and _row_s(plot.database) > begun_s)
    return watch


def _warned_s(plot: Plot, box: str, *, air_c: float = 32.0) -> float:
    """Seconds until the person is told of a box that turns hot, or cold, now."""
    begun_s = time.time()
    plot.air_c[box] = air_c
    pushed = lambda: [at for at, said in _pushes(plot) if at > begun_s and box in said.lower()]  # noqa: E731
    until(lambda: bool(pushed()))
    return pushed()[0] - begun_s


def _told(plot: Plot, word: str) -> str:
    """The notice with that word in it."""
    until(lambda: any(word in said for _, said in _pushes(plot)))
    return next(said for _, said in _pushes(plot) if word in said).partition("\n")[0]


def _pushes(plot: Plot) -> list[tuple[float, str]]:
    return list(zip(plot.pushed_at, plot.pushes, strict=False))


def _fill(mount: Path, *, left: int) -> None:
    """The disk filled to the last byte, then so much given back."""
    size = fill(mount / "filler")
    os.truncate(mount / "filler", size - left)


@contextmanager
def _nothing_left(mount: Path) -> Iterator[None]:
    _fill(mount, left=0)
    try:
        yield
    finally:
        with (mount / "filler").open("ab") as file:
            file.truncate(file.tell() - LEFT_MIB * 2**20)


def _copies(mount: Path) -> list[Path]:
    return sorted(mount.glob("plot.db.revision-*"))


def _asked(path: Path, query: str) -> object:
    """In SQL's own words, with none of our code between; None where there is nothing to ask."""
    try:
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True, timeout=20)) as connection:
            found = connection.execute(query).fetchone()
    except sqlite3.Error:
        return None
    return None if found is None else found[0]


def _revision(path: Path) -> object:
    return _asked(path, "SELECT version_num FROM alembic_version")


def _count(path: Path) -> int:
    return int(str(_asked(path, "SELECT count(*) FROM readings") or 0))


def _row_s(path: Path) -> int:
    return int(str(_asked(path, "SELECT row_s FROM progress") or 0))
