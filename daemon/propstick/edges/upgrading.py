"""An older store brought up to this release's schema: by one at a time, after a copy, or put off.

The copy is named by revision and time and no whole copy is ever written over. Where the disk has no room
for it, or for the step, the room kept back is given up first; if that is not enough, a schema that this
release can still work on stays as it is, and the watch says so.
"""

from __future__ import annotations

import fcntl
import logging
import os
import shutil
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import text

from propstick.edges import maintenance, migrations, schema
from propstick.edges.reserve import Reserve
from propstick.edges.store import Store
from propstick.errors import StoreError, StoreReason

log = logging.getLogger(__name__)

SPARE_BYTES = 4 * 2**20
"""What the copy leaves free for the step itself and the first rows after it. Our choice."""
PATIENCE_S = 1800.0
"""How long one waits for another that is at it: as long as the service manager gives a start."""
_LOOK_S = 0.2
_MIGRATING = 0x50726F72
"""Names the PostgreSQL lock of whoever migrates; any number of our own."""
_PUT_OFF_FOR: frozenset[StoreReason] = frozenset({"full", "read-only"})


def bring_up_to_date(store: Store) -> None:
    """Migrates, after a copy beside the file; another that comes meanwhile waits and finds it done.

    Where it cannot be done for want of room and this release works on the older schema too, it is put off:
    `store.put_off` then says why, and what to do.

    Raises:
        StoreError: it cannot be done, and the schema is older than this release can work on.
    """
    with _alone(store):
        revision = store.revision()
        if revision is None or revision >= schema.REVISION:
            return
        try:
            _migrate(store, revision)
        except StoreError as error:
            if error.reason not in _PUT_OFF_FOR or revision < schema.WORKS_FROM:
                raise
            store.put_off = f"the store is not yet this release's; {error.hint}"
            log.error("migration-put-off revision=%s reason=%r hint=%r", revision, error.message, error.hint)


def _migrate(store: Store, revision: str) -> None:
    copy, is_new = _copied(store, revision)
    try:
        try:
            migrations.upgrade(store)
        except StoreError as error:
            if error.reason != "full" or store.path is None or not Reserve(store.path).give_up():
                raise
            log.warning("disk-full room='given up what was kept back, to migrate'")
            migrations.upgrade(store)
    except StoreError as error:
        if error.reason == "full":
            if copy is not None and is_new:
                copy.unlink(missing_ok=True)  # the store is as it was; the room is needed for rows
            raise StoreError(
                error.message, hint="free some space, then start the watch again", reason="full"
            ) from error
        raise
    log.info("migrated from=%s to=%s copy=%s", revision, schema.REVISION, copy or "none")


def _copied(store: Store, revision: str) -> tuple[Path | None, bool]:
    """The copy of the store as it stands, and whether it was made now; none on a server."""
    if store.path is None:
        log.warning("migrating-without-backup store=%s hint='pg_dump before an upgrade'", store)
        return None, False
    stem = f"{store.path.name}.revision-{revision}-"
    for left in store.path.parent.glob(f"{stem}*.part*"):
        left.unlink(missing_ok=True)  # of one that was killed, SQLite's journal of it too; we are alone here
    found = sorted(store.path.parent.glob(f"{stem}*"))
    if found and _is_same(store, store.path, found[-1]):
        return found[-1], False  # made before a start that did not end
    _make_room(store.path)
    moment = f"{datetime.fromtimestamp(time.time(), UTC):%Y%m%dT%H%M%SZ}"
    path, number = store.path.with_name(f"{stem}{moment}"), 1
    while path.exists():
        number += 1
        path = store.path.with_name(f"{stem}{moment}-{number}")
    return maintenance.backup(store, path), True


def _make_room(path: Path) -> None:
    """Sees that there is room for the copy, with the room kept back if need be.

    Raises:
        StoreError: how much is missing.
    """
    logged = path.with_name(f"{path.name}-wal")
    size = path.stat().st_size + (logged.stat().st_size if logged.exists() else 0)
    needed, free, reserve = size + SPARE_BYTES, shutil.disk_usage(path.parent).free, Reserve(path)
    if free >= needed:
        return
    if free + reserve.held() >= needed and reserve.give_up():
        log.warning("disk-short room='given up what was kept back, for the copy before a migration'")
        return
    raise StoreError(
        f"copy of {path} before its schema is changed: {_mib(free)} MiB free, expected {_mib(needed)}",
        hint=f"free {_mib(needed - free)} MiB, then start the watch again",
        reason="full",
    )


def _mib(size: int) -> int:
    return -(-size // 2**20)


def _is_same(store: Store, path: Path, copy: Path) -> bool:
    """Whether a copy holds what the store does: byte for byte after the header, once the log is moved in.

    The header (sqlite.org/fileformat.html, 1.3: the first 100 bytes) counts changes and names the log mode.
    """
    # No connection may stay: closing the file, once read as one, drops this process's locks on it (fcntl(2)).
    store.close()
    try:
        with closing(sqlite3.connect(path)) as connection:
            busy, *_ = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    except sqlite3.Error:
        return False
    if busy or path.stat().st_size != copy.stat().st_size:
        return False
    with path.open("rb") as one, copy.open("rb") as other:
        one.seek(100)
        other.seek(100)
        while (piece := one.read(2**20)) == other.read(2**20):
            if not piece:
                return True
    return False


@contextmanager
def _alone(store: Store) -> Iterator[None]:
    """While nobody else migrates a store of this folder, or server; what a dead process held is free."""
    if store.path is None:
        with store.read() as connection:
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _MIGRATING})
            yield
        return
    # The folder itself is locked: no file is needed where the disk is full.
    number = os.open(store.path.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        _wait_for(number, store)
        yield
    finally:
        os.close(number)


def _wait_for(number: int, store: Store) -> None:
    give_up_at, is_told = time.monotonic() + PATIENCE_S, False
    while True:
        try:
            fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() > give_up_at:
                raise StoreError(
                    f"store {store}: another process has been changing its schema for {PATIENCE_S:g} s",
                    hint="see which other program has the store open",
                    reason="locked",
                ) from None
        else:
            return
        if not is_told:
            log.info("migration-waiting store=%s reason='another process is at it'", store)
            is_told = True
        time.sleep(_LOOK_S)
