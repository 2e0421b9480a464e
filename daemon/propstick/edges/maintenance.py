"""Care of the store while it is used: is it sound, backups and their rotation, dropping what is spent."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import and_, delete, text

from propstick.edges import partitions, schema
from propstick.edges.copying import copy_rows
from propstick.edges.database import PAGE_BYTES, open_store
from propstick.edges.disk import flush
from propstick.edges.store import Store
from propstick.edges.store_errors import explained
from propstick.errors import StoreError, StoreReason
from propstick.times import DAY_S

Progress = Callable[[int, int], None]
"""Told (done, of all)."""

_PAGES_A_STEP = 2**20 // PAGE_BYTES
_PAUSE_S = 0.01
"""Between steps of a backup, so that the watch and the card get their turn."""
_NAME = "propstick-%Y%m%dT%H%M%SZ.db"
SPARE_BYTES = 100 * 2**20
"""What a daily backup must leave free: it may not be what fills the disk. Our choice."""
_REASONS: dict[int, StoreReason] = {
    errno.ENOSPC: "full", errno.EDQUOT: "full", errno.EROFS: "read-only", errno.EIO: "disk",
}  # fmt: skip
_SPENT_DAYS = 90
"""Requests carried out, notices delivered and sessions that ended are of no use after a season."""


def quick_check(store: Store) -> str:
    """What is wrong with the database, in its own words; empty if it is sound.

    Raises:
        StoreError: it cannot be read at all.
    """
    try:
        with store.read() as connection:
            if not store.is_sqlite:
                connection.execute(text("SELECT 1"))
                return ""
            found = [str(line) for line in connection.scalars(text("PRAGMA quick_check(5)"))]
    except StoreError as error:
        if error.reason == "corrupt":  # so badly that the check itself cannot go on
            return error.message
        raise
    return "" if found == ["ok"] else "; ".join(found)


def backup(store: Store, path: Path, progress: Progress | None = None, *, replace: bool = False) -> Path:
    """Copies the store as it is at this moment to a SQLite file, while the watch goes on writing.

    The copy gets its name only when it is complete, on the disk, and found sound.

    Raises:
        StoreError: the file is there already, cannot be written, or the copy is damaged.
    """
    if path.exists() and not replace:
        raise StoreError(f"backup {path}: there is such a file already", hint="give another name")
    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
        if store.is_sqlite:
            _copy_file(store, part, progress)
        else:
            _copy_server(store, part, progress)
        flush(part)
        os.replace(part, path)
        flush(path.parent)
    except sqlite3.Error as error:
        raise explained(error, where=f"backup {path}") from error
    except OSError as error:
        raise StoreError(
            f"backup {path}: {error.strerror or error}",
            hint="check the folder's rights and the space left",
            reason=_REASONS.get(error.errno or 0, "other"),
        ) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
    return path


def backup_and_rotate(store: Store, folder: Path, *, keep: int, now_s: float | None = None) -> Path:
    """A backup named by its time, and the oldest dropped. Of one second there is one.

    Raises:
        StoreError: as `backup`; or it would leave less than `SPARE_BYTES` on a disk the watch may need.
    """
    _check_room(store, folder)
    moment = datetime.fromtimestamp(time.time() if now_s is None else now_s, UTC)
    path = backup(store, folder / moment.strftime(_NAME), replace=True)
    rotate(folder, keep)
    return path


def _check_room(store: Store, folder: Path) -> None:
    if store.path is None:
        return
    try:
        folder.mkdir(parents=True, exist_ok=True)
        needed, free = store.path.stat().st_size, shutil.disk_usage(folder).free
    except OSError:
        return  # `backup` says what is wrong
    if free < needed + SPARE_BYTES:
        raise StoreError(
            f"backup in {folder}: {free // 2**20} MiB free, expected {(needed + SPARE_BYTES) // 2**20}",
            hint="delete old backups or lower [store] backup_keep; rows come before copies of them",
            reason="full",
        )


def rotate(folder: Path, keep: int) -> list[Path]:
    """Drops all but the newest `keep` of our backups in a folder; returns what was dropped."""
    found = sorted(folder.glob("propstick-*Z.db"))
    dropped = found[: max(0, len(found) - max(1, keep))]
    for path in dropped:
        path.unlink()
    return dropped


def prune(store: Store, *, now_s: int, keep_days: int | None = None, site: str | None = None) -> int:
    """Drops what is spent, and readings older than `keep_days` if that is set. Returns how many rows.

    On PostgreSQL a month that no site keeps goes whole, its rows uncounted, and months to come are made.
    Hourly sums, alarms, briefs, forecasts and sowings stay for good: they are small, and they are
    what a grower compares seasons by.

    Args:
        site: Whose readings; None: everybody's. Neighbours on one database may keep theirs longer.
    """
    spent_s = now_s - _SPENT_DAYS * DAY_S
    outbox, requests, sessions = schema.outbox.c, schema.requests.c, schema.sessions.c
    conditions = [
        (schema.outbox, and_(outbox.next_try_s.is_(None), outbox.delivered_s < spent_s)),
        (schema.outbox, and_(outbox.next_try_s.is_(None), outbox.given_up_s < spent_s)),
        (schema.requests, and_(requests.taken_row_s.is_not(None), requests.made_s < spent_s)),
        (schema.sessions, sessions.expires_s < now_s),
        (schema.answer_tokens, schema.answer_tokens.c.expires_s < now_s),
    ]
    with store.write() as connection:
        dropped = sum(connection.execute(delete(table).where(spent)).rowcount for table, spent in conditions)
    if keep_days is not None or site is not None:
        partitions.keep(store, None if site is None else store.site(site), keep_days)
    partitions.drop_unkept(store)
    if keep_days is not None:
        whose = _sites(store) if site is None else [store.site(site)]
        dropped += _prune_readings(store, whose, (now_s - keep_days * DAY_S) * 1000)
    partitions.make_ahead(store, now_s)
    return dropped


def _prune_readings(store: Store, sites: list[int], before_ms: int) -> int:
    """A day at a time, so that the watch's write never waits long."""
    table = schema.readings.c
    dropped = 0
    for site in sites:
        while True:
            with store.write() as connection:
                first = connection.execute(
                    schema.readings.select().where(table.site == site).order_by(table.time_ms).limit(1)
                ).first()
                if first is None or first.time_ms >= before_ms:
                    break
                stop_ms = min(before_ms, first.time_ms + DAY_S * 1000)
                gone = delete(schema.readings).where(table.site == site, table.time_ms < stop_ms)
                dropped += connection.execute(gone).rowcount
    return dropped


def _sites(store: Store) -> list[int]:
    with store.read() as connection:
        return list(connection.scalars(schema.sites.select().with_only_columns(schema.sites.c.id)))


def _copy_file(store: Store, part: Path, progress: Progress | None) -> None:
    def told(_status: int, remaining: int, total: int) -> None:
        if progress is not None:
            progress(total - remaining, total)

    with store.read() as connection, closing(sqlite3.connect(part)) as target:
        # With a reading transaction open all pages are of one moment; without one, SQLite would begin
        # anew each time the watch writes.
        connection.exec_driver_sql("SELECT count(*) FROM sites").all()
        source = connection.connection.driver_connection
        assert isinstance(source, sqlite3.Connection)
        source.backup(target, pages=_PAGES_A_STEP, progress=told, sleep=_PAUSE_S)
        # A backup is one file to carry about: no log beside it.
        target.execute("PRAGMA journal_mode=delete")
        found = [line for (line,) in target.execute("PRAGMA quick_check(5)")]
    if found != ["ok"]:
        raise StoreError(
            f"backup of {store}: the copy is damaged ({'; '.join(found)})",
            hint="the store itself is damaged: restore an older backup",
            reason="corrupt",
        )


def _copy_server(store: Store, part: Path, progress: Progress | None) -> None:
    part.unlink()
    target = open_store(f"sqlite:///{part}")
    try:
        copy_rows(store, target, progress)
    finally:
        target.close()
    with closing(sqlite3.connect(part)) as connection:
        connection.execute("PRAGMA journal_mode=delete")
