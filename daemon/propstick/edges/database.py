"""Opens the database: connection, pragmas, schema, and what went wrong in words. Nothing else does.

SQLite by default, PostgreSQL by the same code. One process writes readings, others write requests;
every write takes SQLite's lock at its start (`BEGIN IMMEDIATE`), so that no transaction has to be
given up half way.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, create_engine, event, inspect, select, text
from sqlalchemy.dialects import sqlite
from sqlalchemy.engine import URL, Engine, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, IntegrityError, NoSuchModuleError, ProgrammingError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from propstick.edges import schema
from propstick.edges.reserve import Reserve
from propstick.edges.store_errors import BUSY_S, explained
from propstick.errors import StoreError

PAGE_BYTES = 1024
"""Measured on ext4, every commit synced, log already grown, 16 probes and 8 boxes with their live view
and an hourly checkpoint of 40 kB: 13 KiB a row on the device, against 16 at 2048 bytes and 20 at 4096.
Size and speed of reading are the same."""
_CREATING = 0x50726F70
"""Names the PostgreSQL lock under which the schema is made; any number of our own."""


class Store:
    """An open database. Threads may share it; each transaction takes a connection of its own."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.is_sqlite = engine.dialect.name == "sqlite"
        self.put_off = ""
        """Why its schema is still an older one, and what to do; empty if it is not."""
        self._sites: dict[str, int] = {}
        self._file = self._file_number()

    def __str__(self) -> str:
        return self.engine.url.render_as_string(hide_password=True)

    @property
    def path(self) -> Path | None:
        """The file, or None for a database server."""
        return _file_of(self.engine.url)

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A transaction that only reads: all of it sees one moment of the store."""
        self._follow()
        with self._explaining(), self.engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """A transaction that is on the disk when the block ends, or has not happened.

        Raises:
            StoreError: disk full or read-only, another process in the way for `BUSY_S`, file damaged.
        """
        self._follow()
        with self._explaining(), self.engine.connect() as connection:
            writing = connection.execution_options(propstick_writes=True)
            with writing.begin():
                yield writing

    @contextmanager
    def cursor(self) -> Iterator[Any]:
        """The driver's own cursor in a reading transaction: forty times quicker for many rows."""
        with self.read() as connection:
            cursor = connection.connection.cursor()
            try:
                yield cursor
            finally:
                cursor.close()

    def sql(self, statement: str) -> str:
        """A statement written with `?`, with the driver's own placeholders."""
        return statement if self.is_sqlite else statement.replace("?", "%s")

    def insert(self, table: Table) -> Any:
        """An INSERT that can say what happens when the row is already there, in the database's words."""
        if self.is_sqlite:
            return sqlite.insert(table)
        from sqlalchemy.dialects import postgresql  # 2 MiB that a Pi has no use for

        return postgresql.insert(table)

    def insert_new(self, table: Table) -> Any:
        """An INSERT that leaves a row that is already there as it is."""
        return self.insert(table).on_conflict_do_nothing()

    def site(self, name: str) -> int:
        """The key of a site's rows; made when first asked for."""
        if name not in self._sites:
            query = select(schema.sites.c.id).where(schema.sites.c.name == name)
            with self.read() as connection:
                found = connection.scalar(query)
            if found is None:
                with self.write() as connection:
                    connection.execute(self.insert_new(schema.sites).values(name=name))
                    found = connection.scalar(query)
            assert found is not None
            self._sites[name] = int(found)
        return self._sites[name]

    def site_names(self) -> tuple[str, ...]:
        """Every site that has rows here."""
        with self.read() as connection:
            return tuple(connection.scalars(schema.sites.select().with_only_columns(schema.sites.c.name)))

    def revision(self) -> str | None:
        """The stored revision of the schema; None for an empty database.

        Raises:
            StoreError: it holds tables of some other program.
        """
        with self.read() as connection:
            tables = set(inspect(connection).get_table_names())
            if not tables:
                return None
            if "alembic_version" not in tables or "readings" not in tables:
                raise StoreError(
                    f"store {self}: found tables {', '.join(sorted(tables)[:5])}, expected Propstick's own",
                    hint="give [store] url a file or database of its own",
                    reason="foreign",
                )
            return connection.scalar(text("SELECT version_num FROM alembic_version"))

    def close(self) -> None:
        """Closes every connection; SQLite then moves its log into the file."""
        self.engine.dispose()

    def _follow(self) -> None:
        """Another file has the name since a restore or a rescue: read and write that one."""
        number = self._file_number()
        if number is not None and number != self._file:
            self._file = number
            self._sites.clear()
            self.engine.dispose()

    def _file_number(self) -> int | None:
        try:
            return None if self.path is None else os.stat(self.path).st_ino
        except OSError:
            return None

    @contextmanager
    def _explaining(self) -> Iterator[None]:
        try:
            yield
        except (IntegrityError, ProgrammingError):
            raise  # our own mistake, not the store's trouble
        except DBAPIError as error:
            raise explained(error.orig or error, where=str(self)) from error
        except PoolTimeout as error:  # all connections of this process are waiting for the server
            raise explained(error, where=str(self)) from error
        except self.engine.dialect.loaded_dbapi.Error as error:
            raise explained(error, where=str(self)) from error


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
    path = _file_of(where)
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


def _file_of(url: URL) -> Path | None:
    return Path(url.database) if url.get_backend_name() == "sqlite" and url.database else None


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
