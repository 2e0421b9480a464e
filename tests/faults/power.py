"""Power cuts as the disk sees them: what was not synced may be there, missing, or torn, sector by sector.

The watch lives half an accelerated day on the real file system while every write and sync of its store
is noted (`written.c`, loaded before libc). From the notes the disk is rebuilt as it may stand after a cut
at any moment: what was synced is there; of what was not, each sector of 512 bytes is there or not by
chance. Taken for granted: a synced sector stays, and directories are as the program left them.
"""

from __future__ import annotations

import os
import random
import struct
import subprocess
import sys
import tempfile
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from tests.bench.table import Figure

from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.maintenance import quick_check
from propstick.edges.readings import ReadingLog
from propstick.errors import StoreError

SECTOR = 512
HEAD = struct.Struct("=ccQQ")
FILES = {b"d": "s.db", b"w": "s.db-wal", b"j": "s.db-journal"}
ROWS = 720


@dataclass(frozen=True)
class Note:
    """One write (bytes), truncation (its new length), sync or removal (kind u) of one file."""

    kind: bytes
    file: bytes
    offset: int
    length: int
    bytes: bytes = b""


@dataclass
class Disk:
    """What is surely on the disk, and what was written since, in order."""

    synced: dict[bytes, bytearray] = field(default_factory=lambda: {name: bytearray() for name in FILES})
    unsynced: dict[bytes, list[Note]] = field(default_factory=lambda: {name: [] for name in FILES})

    def take(self, note: Note) -> None:
        """The next note happens."""
        if note.kind == b"u":
            self.synced[note.file].clear()
            self.unsynced[note.file].clear()
            return
        if note.kind != b"s":
            self.unsynced[note.file].append(note)
            return
        for one in self.unsynced[note.file]:
            _apply(self.synced[note.file], one)
        self.unsynced[note.file].clear()

    def surely(self) -> dict[bytes, bytes]:
        """The files if nothing unsynced reached the disk."""
        return {name: bytes(content) for name, content in self.synced.items()}

    def wholly(self) -> dict[bytes, bytes]:
        """The files if everything written reached the disk: as the running program sees them."""
        found = {}
        for name, content in self.synced.items():
            whole = bytearray(content)
            for note in self.unsynced[name]:
                _apply(whole, note)
            found[name] = bytes(whole)
        return found

    def perhaps(self, chance: random.Random, *, honest: bool = True) -> dict[bytes, bytes]:
        """The files as they may stand after a cut now; a dishonest disk has lost a synced sector too."""
        share = chance.choice([0.1, 0.5, 0.9])
        found = {}
        for name, content in self.synced.items():
            torn = bytearray(content)
            for note in self.unsynced[name]:
                for part in _sectors(note):
                    if chance.random() < share:
                        _apply(torn, part)
            if not honest and len(torn) >= SECTOR:
                last = (len(torn) // SECTOR - 1) * SECTOR
                torn[last : last + SECTOR] = bytes(SECTOR)
            found[name] = bytes(torn)
        return found


def power(images: int = 400, *, seed: int = 1, honest: bool = True) -> list[Figure]:
    """Rebuilds so many disks and opens each with our own code.

    Args:
        honest: False for a disk that says synced and is not, to see that this test can fail.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        try:
            notes = _noted(folder)
        except FileNotFoundError:
            return [Figure("power cut, torn and unsynced sectors", "sound, nothing synced lost",
                           "not tried: no C compiler (cc)", False)]  # fmt: skip
        cuts = sorted(random.Random(seed).sample(range(len(notes) // 50, len(notes)), images))
        chance, disk, at, broken, lost, open_cuts = random.Random(seed), Disk(), 0, 0, 0, 0
        most, behind_s = 0, 0
        for cut in cuts:
            while at < cut:
                disk.take(notes[at])
                at += 1
            kept, rows = _opened(folder / "sure", disk.surely())
            open_cuts += any(disk.unsynced.values())
            sound_kept, rows_then = _opened(folder / "cut", disk.perhaps(chance, honest=honest))
            _, rows_seen = _opened(folder / "all", disk.wholly())
            most = max(most, len(rows))
            behind_s = max(behind_s, _last_s(rows_seen) - _last_s(rows) if rows else 0)
            broken += not (kept and sound_kept)
            lost += not _readings(rows) <= _readings(rows_then) or _last_s(rows_then) < _last_s(rows)
    return [
        Figure(
            "power cut, torn and unsynced sectors: store opens and is sound",
            "always",
            f"{images - broken} of {images} disks, {open_cuts} of them cut amid unsynced writes",
            not broken,
        ),
        Figure(
            "the same: readings and rows once synced are still there",
            "all",
            f"missing on {lost} of {images} disks (up to {most:,} of them)",
            most > 0 and not lost,
        ),
        Figure(
            "the same: written but not yet synced, of the row in the making",
            "<= 60 s",
            f"{behind_s} s at worst",
            most > 0 and behind_s <= 60,
        ),
    ]


def _noted(folder: Path) -> list[Note]:
    """The watch lives under the noting library; what it wrote, in order."""
    library, log = folder / "written.so", folder / "written.log"
    source = Path(__file__).with_name("written.c")
    subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-o", str(library), str(source), "-ldl"], check=True)
    (folder / "live").mkdir()
    subprocess.run(
        [sys.executable, "-m", "tests.faults.power", str(folder / "live")], check=True,
        env={**os.environ, "LD_PRELOAD": str(library), "WRITTEN_LOG": str(log)},
    )  # fmt: skip
    blob, at, notes = log.read_bytes(), 0, []
    while at < len(blob):
        kind, file, offset, length = HEAD.unpack_from(blob, at)
        at += HEAD.size
        content = blob[at : at + length] if kind == b"w" else b""
        at += len(content)
        notes.append(Note(kind, file, offset, length, content))
    return notes


def _opened(folder: Path, files: dict[bytes, bytes]) -> tuple[bool, set[tuple[int, int]]]:
    """Whether the store is sound, the readings in it (time, probe), and its last row as (row, -1)."""
    folder.mkdir(exist_ok=True)
    for old in folder.iterdir():
        old.unlink()
    for name, content in files.items():
        if content:
            (folder / FILES[name]).write_bytes(content)
    try:
        opened = open_store(f"sqlite:///{folder / 's.db'}", create=False)
    except StoreError as error:
        return error.reason == "missing", set()  # cut before the first schema was committed
    with closing(opened) as store:
        if quick_check(store):
            return False, set()
        columns = ReadingLog(store, "plot").columns(0, 2**43)
        found = set(zip(columns.time_ms.tolist(), columns.column.tolist(), strict=True))
        return True, found | {(Journal(store, "plot").last_row() or 0, -1)} - {(0, -1)}


def _readings(rows: set[tuple[int, int]]) -> set[tuple[int, int]]:
    return {row for row in rows if row[1] != -1}


def _last_s(rows: set[tuple[int, int]]) -> int:
    return max((row_s for row_s, column in rows if column == -1), default=0)


def _sectors(note: Note) -> list[Note]:
    """A write as the sectors it touches; a truncation as it is."""
    if note.kind == b"t":
        return [note]
    parts, at = [], 0
    while at < note.length:
        size = min(SECTOR - (note.offset + at) % SECTOR, note.length - at)
        parts.append(Note(b"w", note.file, note.offset + at, size, note.bytes[at : at + size]))
        at += size
    return parts


def _apply(content: bytearray, note: Note) -> None:
    if note.kind == b"t":
        del content[note.length :]
        content.extend(bytes(note.length - len(content)))
        return
    content.extend(bytes(max(note.offset - len(content), 0)))
    content[note.offset : note.offset + note.length] = note.bytes


def _live(folder: Path) -> None:
    """Half a day of the watch of `season.py`, unbroken."""
    from tests.faults.season import Season

    season = Season(folder, seed=1)
    for _ in range(ROWS):
        season.assembly.watch.do_row(season.assembly.watch._rows.next_row())
        season.assembly.delivery.work_once()
    season.assembly.close()


if __name__ == "__main__":
    _live(Path(sys.argv[1]))
