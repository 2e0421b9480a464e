"""Rows from one store into another, table by table: between SQLite and PostgreSQL."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Any

from sqlalchemy import Connection, Table, func, inspect, select, text, tuple_

from propstick.edges import partitions, schema
from propstick.edges.store import Store

CHUNK = 10_000


def copy_rows(source: Store, target: Store, progress: Callable[[int, int], None] | None = None) -> int:
    """Copies every row that `target` does not have yet; the source is seen at one moment.

    Returns how many rows were read. `progress` is told (tables done, of all).

    Raises:
        StoreError: either store refuses; what was copied before stays.
    """
    copied = 0
    tables = schema.metadata.sorted_tables
    with source.read() as connection:
        if not source.is_sqlite:
            connection.execute(text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"))
        for done, table in enumerate(tables, 1):
            for rows in chunks(connection, table):
                copied += len(rows)
                partitions.make_for_rows(target, table, rows, now_s=time.time())
                with target.write() as writing:
                    writing.execute(target.insert_new(table), rows)
            if progress is not None:
                progress(done, len(tables))
    number_on(target)
    return copied


def number_on(store: Store) -> None:
    """PostgreSQL counts its numbered keys apart from the rows: go on after the highest copied."""
    if store.is_sqlite:
        return
    with store.write() as connection:
        for table in schema.metadata.sorted_tables:
            column = table.autoincrement_column
            if column is None:
                continue
            last = connection.scalar(select(func.max(column)))
            if last is not None:
                sequence = func.pg_get_serial_sequence(table.name, column.name)
                connection.execute(select(func.setval(sequence, last)))


def chunks(
    connection: Connection, table: Table, *, size: int = CHUNK, backwards: bool = False
) -> Iterator[list[dict[str, Any]]]:
    """The rows by their key, each piece asked for by where the last one ended."""
    there = {column["name"] for column in inspect(connection).get_columns(table.name)}
    wanted = [column for column in table.columns if column.name in there]  # an older store has fewer
    key = list(table.primary_key.columns)
    order = [column.desc() if backwards else column for column in key]
    last: tuple[Any, ...] | None = None
    while True:
        query = select(*wanted).order_by(*order).limit(size)
        if last is not None:
            place, reached = tuple_(*key), tuple_(*last)
            query = query.where(place < reached if backwards else place > reached)
        rows = [dict(row._mapping) for row in connection.execute(query)]
        if not rows:
            return
        yield rows
        last = tuple(rows[-1][column.name] for column in key)
