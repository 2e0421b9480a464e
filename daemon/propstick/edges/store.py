"""An open database: its transactions, its sites, and what went wrong with it in words.

`database.py` opens it.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, inspect, select, text
from sqlalchemy.dialects import sqlite
from sqlalchemy.engine import URL, Engine
from sqlalchemy.exc import DBAPIError, IntegrityError, ProgrammingError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from propstick.edges import schema
from propstick.edges.store_errors import explained
from propstick.errors import StoreError


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
        return file_of(self.engine.url)

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


def file_of(url: URL) -> Path | None:
    """The file a store's url names; None for a database server."""
    return Path(url.database) if url.get_backend_name() == "sqlite" and url.database else None
