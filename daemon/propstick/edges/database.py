"""Opens the database: connection, pragmas, schema. Nothing else does.

SQLite by default, PostgreSQL by the same code. One process writes readings, others write requests;
every write takes SQLite's lock at its start (`BEGIN IMMEDIATE`), so that no transaction has to be
given up half way.
"""

from __future__ import annotations

import os
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, create_engine, event, inspect, text
from sqlalchemy.engine import URL, Engine, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError

from propstick.edges import schema
from propstick.edges.reserve import Reserve
from propstick.edges.store import Store, file_of
from propstick.edges.store_errors import BUSY_S
from propstick.errors import StoreError

PAGE_BYTES = 1024
"""Measured on ext4, every commit synced, log already grown, 16 probes and 8 boxes with their live view
and an hourly checkpoint of 40 kB: 13 KiB a row on the device, against 16 at 2048 bytes and 20 at 4096.
Size and speed of reading are the same."""
_CREATING = 0x50726F70
"""Names the PostgreSQL lock under which the schema is made; any number of our own."""


def open_store(url: str, *, migrate: bool = False, create: bool = True, as_it_is: bool = False) -> Store:
    """Opens a store, making it when it is new.

    A schema newer than this release is used as it is: changes only ever add.

    Args:
        url: `sqlite:////var/lib/…/store.db` or `postgresql+psycopg://…`.
        migrate: Bring an older schema up to date, after a backup beside it. Only the watch does; others work
            on one that this release still can.
        create: Make the database when there is none, or it is empty.
        as_it_is: Leave an older schema alone: it is only read, table by table, or brought up to date later.

    Raises:
        StoreError: cannot be opened, is damaged, is another program's, or its schema is too old.
    """
    where = _checked(url)
    path = file_of(where)
    if path is not None:
        _make_ready(path, create=create)
    store = Store(_engine(where))
    try:
        revision = _revision_making_room(store) if migrate else store.revision()
        if revision is None and create:
            _create(store)
        elif revision is None:
            raise StoreError(f"store {store}: is empty", hint="start propstick watch first", reason="missing")
        elif revision < schema.REVISION and not as_it_is:
            _bring_up_to_date(store, revision, allowed=migrate)
        if migrate and not store.is_sqlite:
            from propstick.edges import partitions

            partitions.make_ahead(store, time.time())
    except BaseException:
        store.close()
        raise
    return store


def _checked(url: str) -> URL:
    try:
        where = make_url(url)
    except ArgumentError:
        raise StoreError(
            f"store url: got {url!r}, expected sqlite:///FILE or postgresql+psycopg://…", reason="unreachable"
        ) from None
    if where.get_backend_name() not in ("sqlite", "postgresql"):
        raise StoreError(
            f"store url: got {where.get_backend_name()!r}, expected sqlite or postgresql+psycopg",
            hint='set [store] url = "sqlite:///propstick.db"',
            reason="unreachable",
        )
    if where.get_backend_name() == "sqlite" and where.database in (None, "", ":memory:"):
        raise StoreError("store url: got no file name", hint="sqlite:///propstick.db", reason="unreachable")
    return where


def _make_ready(path: Path, *, create: bool) -> None:
    """The file, readable by its owner only. SQLite gives its log the same rights."""
    if path.exists():
        return
    if not create:
        raise StoreError(f"store {path}: no such file", hint="start propstick watch first", reason="missing")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with suppress(FileExistsError):
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    except OSError as error:
        raise StoreError(
            f"store {path}: cannot be made ({error.strerror})",
            hint="check the folder's owner and rights",
            reason="unreachable",
        ) from error


def _engine(url: URL) -> Engine:
    """An engine whose connections stay open: closing SQLite's last one would rewrite its log."""
    try:
        if url.get_backend_name() != "sqlite":
            return create_engine(url, pool_pre_ping=True, pool_size=8, pool_timeout=BUSY_S)
        engine = create_engine(url, connect_args={"timeout": BUSY_S, "check_same_thread": False})
    except (ImportError, NoSuchModuleError) as error:
        raise StoreError(
            f"store {url.get_backend_name()}: its driver is not installed ({error})",
            hint="pip install 'propstick[postgres]' and write postgresql+psycopg://…",
            reason="unreachable",
        ) from error

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # transactions begin where `_begin` says, not by guess
        for pragma in (
            f"page_size={PAGE_BYTES}",  # heeded by an empty file only, and only before the log mode
            "journal_mode=wal",
            "synchronous=full",
            "foreign_keys=on",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("propstick_writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _create(store: Store) -> None:
    """The newest schema in one go; a test proves that it is what the migrations arrive at."""
    with store.write() as connection:
        if not store.is_sqlite:
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _CREATING})
        if inspect(connection).has_table("alembic_version"):
            return  # another process was quicker
        if not store.is_sqlite:
            from propstick.edges import partitions

            partitions.declare()
        schema.metadata.create_all(connection, checkfirst=False)
        connection.execute(text(
            "CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL, "
            "CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num))"
        ))  # fmt: skip
        connection.execute(text("INSERT INTO alembic_version VALUES (:v)"), {"v": schema.REVISION})
        if not store.is_sqlite:
            partitions.begin(connection, time.time())


def _bring_up_to_date(store: Store, revision: str, *, allowed: bool) -> None:
    if not allowed and revision >= schema.WORKS_FROM:
        return  # the watch does it in its own time, beneath us if need be: it only adds
    if not allowed:
        raise StoreError(
            f"store {store}: its schema is {revision}, expected {schema.REVISION}",
            hint="start propstick watch: it brings the store up to date, after a backup",
            reason="old",
        )
    from propstick.edges import upgrading  # costly, and needed once a release

    upgrading.bring_up_to_date(store)


def _revision_making_room(store: Store) -> str | None:
    """The revision. A file that was closed cleanly needs some room to be opened: it may be that kept back."""
    try:
        return store.revision()
    except StoreError as error:
        if error.reason != "full" or store.path is None or not Reserve(store.path).give_up():
            raise
    return store.revision()
