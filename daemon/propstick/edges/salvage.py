"""What to do with a damaged file: set it aside, go on in a fresh one, and rescue what can be read.

The small tables come over first, so that the watch goes on with its sowings, alarms and learnt state
after a second or so; the readings follow while it already writes.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Table, select
from sqlalchemy.engine import make_url
from sqlalchemy.exc import IntegrityError

from propstick.edges import schema
from propstick.edges.copying import chunks
from propstick.edges.database import open_store
from propstick.edges.store import Store
from propstick.errors import StoreError

_LARGE = (schema.readings, schema.reading_hours)
_ROWS_AT_ONCE = 200
"""Small pieces: at the edge of the damage a piece is lost whole."""


@dataclass(frozen=True)
class Recovered:
    """A fresh store, and what came over into it.

    Attributes:
        aside: The damaged file; nothing in it was changed.
        rescued: Rows of the small tables that could be read.
        broken: Tables that did not come whole.
        probes: Keys of the probes that came over: only their readings can be told apart.
    """

    store: Store
    aside: Path
    rescued: int
    broken: tuple[str, ...]
    probes: frozenset[int]


def recover(url: str, *, now_s: float | None = None) -> Recovered:
    """Sets the file of a damaged store aside and opens a fresh one with its small tables.

    Call `rescue_readings` afterwards; it may take minutes and run beside the watch. Every other
    process must open the store anew.

    Raises:
        StoreError: the file cannot be moved, or no fresh one can be made.
    """
    aside = set_aside(url, word="damaged", now_s=now_s)
    fresh = open_store(url)
    rescued, broken = 0, [table.name for table in _small_tables()]
    try:
        damaged = open_store(f"sqlite:///{aside}", create=False, as_it_is=True)
    except StoreError:
        return Recovered(fresh, aside, 0, tuple(broken), frozenset())
    try:
        rescued, broken = _rescue_tables(damaged, fresh, _small_tables())
    finally:
        damaged.close()
    with fresh.read() as connection:
        probes = frozenset(connection.scalars(select(schema.probes.c.id)))
    return Recovered(fresh, aside, rescued, tuple(broken), probes)


def rescue_readings(recovered: Recovered) -> tuple[int, tuple[str, ...]]:
    """The readings and hourly sums of the damaged file, as many as can be read, beside the watch's own.

    Returns how many rows, and which of the two tables did not come whole.
    """
    try:
        damaged = open_store(f"sqlite:///{recovered.aside}", create=False, as_it_is=True)
    except StoreError:
        return 0, tuple(table.name for table in _LARGE)
    try:
        rescued, broken = _rescue_tables(damaged, recovered.store, _LARGE, probes=recovered.probes)
    finally:
        damaged.close()
    return rescued, tuple(broken)


def set_aside(url: str, *, word: str, now_s: float | None = None) -> Path:
    """Renames the store's file, with its log, to `<name>.<word>-<time>`; returns the new name.

    Raises:
        StoreError: a database server has no file, or the file cannot be renamed.
    """
    where = make_url(url)
    if where.get_backend_name() != "sqlite" or not where.database:
        raise StoreError("store: a database server cannot be set aside", hint="restore it with its own tools")
    path = Path(where.database)
    moment = datetime.fromtimestamp(time.time() if now_s is None else now_s, UTC)
    aside = path.with_name(f"{path.name}.{word}-{moment:%Y%m%dT%H%M%SZ}")
    number = 1
    while aside.exists():
        number += 1
        aside = path.with_name(f"{path.name}.{word}-{moment:%Y%m%dT%H%M%SZ}-{number}")
    try:
        # The log first: alone it is never taken for the log of the fresh file.
        for ending in ("-wal", "-shm", ""):
            if Path(f"{path}{ending}").exists():
                os.replace(f"{path}{ending}", f"{aside}{ending}")
    except OSError as error:
        raise StoreError(f"store {path}: cannot be set aside ({error.strerror})") from error
    return aside


def _small_tables() -> list[Table]:
    return [table for table in schema.metadata.sorted_tables if table not in _LARGE]


def _rescue_tables(
    damaged: Store,
    fresh: Store,
    tables: Sequence[Table],
    *,
    probes: frozenset[int] | None = None,
) -> tuple[int, list[str]]:
    """Each table from its front to the damage, then from its back."""

    def wanted(row: dict) -> bool:
        return probes is None or row["probe"] in probes

    rescued, broken = 0, []
    for table in tables:
        front, whole = _rescue(damaged, fresh, table, backwards=False, wanted=wanted)
        rescued += front
        if not whole:
            rescued += _rescue(damaged, fresh, table, backwards=True, wanted=wanted)[0]
            broken.append(table.name)
    return rescued, broken


def _rescue(
    damaged: Store, fresh: Store, table: Table, *, backwards: bool, wanted: Callable[[dict], bool]
) -> tuple[int, bool]:
    """How many rows came before the damage, and whether that was all of them."""
    rescued = 0
    whole = True
    try:
        with damaged.read() as connection:
            for rows in chunks(connection, table, size=_ROWS_AT_ONCE, backwards=backwards):
                kept, refused = _put(fresh, table, [row for row in rows if wanted(row)])
                rescued += kept
                whole = whole and not refused
    except (StoreError, ValueError, TypeError):  # a damaged page, or a value that is none
        return rescued, False
    return rescued, whole


def _put(fresh: Store, table: Table, rows: list[dict]) -> tuple[int, int]:
    """Rows in and rows refused: those that belong to something that was lost."""
    if not rows:
        return 0, 0
    try:
        with fresh.write() as connection:
            connection.execute(fresh.insert_new(table), rows)
        return len(rows), 0
    except IntegrityError:
        if len(rows) == 1:
            return 0, 1
    parts = [_put(fresh, table, [row]) for row in rows]
    return sum(kept for kept, _ in parts), sum(refused for _, refused in parts)
