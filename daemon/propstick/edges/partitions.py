"""The large tables in parts by time, on PostgreSQL: readings by the month, what is kept for good by the year.

A row whose part has not been made yet is caught by the table's rest, and so is that of a clock nobody set;
the daily care makes parts ahead, and moves out of the rest what has found its part since. A month that no
site keeps any more is dropped whole, which costs nothing however large it is. SQLite has no parts.

Only the rest can hold up a watch: it is locked while a part is made, and never waited for longer than
`LOCK_S`; who comes too late tries again the day after.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, Table, and_, func, select, text, update

from propstick.edges import schema
from propstick.edges.store import Store
from propstick.errors import StoreError
from propstick.times import DAY_S, EARLIEST_S

log = logging.getLogger(__name__)

AHEAD_S = 62 * DAY_S
"""Parts are there two months before their first row: sixty tries, should something be in the way."""
LOCK_S = 2
"""Seconds a change of parts waits for those who use the table, and they behind it. Our choice."""
_CARING = 0x50726F71
"""Names the PostgreSQL lock of whoever changes parts; any number of our own."""


@dataclass(frozen=True)
class Parted:
    """A table in parts.

    Attributes:
        column: Its time.
        per_s: What a second comes to in it, as a fraction: (1000, 1) for milliseconds, (1, 3600) for hours.
        months: How many calendar months (UTC) a part has, from January on.
    """

    table: Table
    column: str
    per_s: tuple[int, int]
    months: int

    @property
    def rest(self) -> str:
        """The part of all rows that have none."""
        return f"{self.table.name}_rest"

    def value(self, time_s: int) -> int:
        """The column's value at a moment."""
        return time_s * self.per_s[0] // self.per_s[1]

    def seconds(self, value: int) -> int:
        """The moment of a value of the column, UTC seconds."""
        return value * self.per_s[1] // self.per_s[0]


PARTED = (
    Parted(schema.readings, "time_ms", (1000, 1), 1),
    Parted(schema.reading_hours, "hour", (1, 3600), 12),
    Parted(schema.heat_forecasts, "issued_s", (1, 1), 12),
)


@dataclass(frozen=True, order=True)
class Part:
    """A stretch of whole months, UTC."""

    year: int
    month: int
    months: int

    @property
    def first_s(self) -> int:
        """UTC seconds at which it begins."""
        return int(datetime(self.year, self.month, 1, tzinfo=UTC).timestamp())

    @property
    def stop_s(self) -> int:
        """UTC seconds at which the next begins."""
        return self.next().first_s

    def next(self) -> Part:
        """The part after it."""
        since = self.year * 12 + self.month - 1 + self.months
        return Part(since // 12, since % 12 + 1, self.months)

    def name(self, table: Table) -> str:
        """What it is called as a table of its own."""
        return f"{table.name}_{self.year}" + ("" if self.months == 12 else f"_{self.month:02}")


def part_at(time_s: int, months: int) -> Part:
    """The part a moment falls into."""
    at = datetime.fromtimestamp(time_s, UTC)
    return Part(at.year, (at.month - 1) // months * months + 1, months)


def declare() -> None:
    """Has the tables made with parts. Said in the schema, it would have a Pi load what it has no use for."""
    for parted in PARTED:
        parted.table.dialect_options["postgresql"]["partition_by"] = f"RANGE ({parted.column})"


def begin(connection: Connection, now_s: float) -> None:
    """The parts of tables just made, in the transaction that made them."""
    for parted in PARTED:
        connection.execute(text(f"CREATE TABLE {parted.rest} PARTITION OF {parted.table.name} DEFAULT"))
        for part in _parts(parted, int(now_s), int(now_s) + AHEAD_S) if now_s >= EARLIEST_S else ():
            _make(connection, parted, part)


def make_ahead(store: Store, now_s: float) -> None:
    """Makes the parts that are due, and those of rows which the rest has caught. Never raises for a lock.

    Nothing where the clock is not set: nobody knows which parts those are.
    """
    if store.is_sqlite or now_s < EARLIEST_S:
        return
    latest_s = int(now_s) + AHEAD_S
    for parted in PARTED:
        wanted = set(_parts(parted, int(now_s), latest_s))
        with store.read() as connection:
            if not is_parted(connection, parted.table):
                continue  # a store that could not be migrated yet
            wanted |= _waiting(connection, parted, latest_s)
        _make_missing(store, parted, wanted)


def make_for(store: Store, table: Table, times_s: Iterable[int], *, now_s: float) -> None:
    """Makes the parts of many rows before they go in, an import or a copy; of other tables it makes none.

    What lies beyond all reason goes to the rest, as all do if something is in the way.
    """
    parted = next((each for each in PARTED if each.table is table), None)
    if store.is_sqlite or parted is None:
        return
    with store.read() as connection:
        if not is_parted(connection, table):
            return
    days = {time_s // DAY_S for time_s in times_s if EARLIEST_S <= time_s < now_s + AHEAD_S}
    _make_missing(store, parted, {part_at(day * DAY_S, parted.months) for day in days})


def make_for_rows(store: Store, table: Table, rows: Sequence[dict[str, Any]], *, now_s: float) -> None:
    """The same for rows at hand."""
    for parted in PARTED:
        if parted.table is table:
            make_for(store, table, (parted.seconds(row[parted.column]) for row in rows), now_s=now_s)


def keep(store: Store, site: int | None, keep_days: int | None) -> None:
    """Notes how long a site's readings are kept, for those who share the database.

    Args:
        site: None: all of them.
        keep_days: None: for ever.
    """
    if store.is_sqlite:
        return
    table = schema.sites
    noted = update(table).where(table.c.keep_days.is_distinct_from(keep_days))
    if site is not None:
        noted = noted.where(table.c.id == site)
    with store.write() as connection:
        if is_parted(connection, schema.readings):
            connection.execute(noted.values(keep_days=keep_days))


def drop_unkept(store: Store) -> tuple[str, ...]:
    """Drops the months whose readings no site keeps any more; returns their names.

    How old a site's readings are is told from its own last row, so that a neighbour's wrong clock takes
    nothing away; of a site that is watched no longer, all stays.
    """
    if store.is_sqlite:
        return ()
    parted = PARTED[0]
    with store.read() as connection:
        spent = [part for part in _made(connection, parted) if _is_spent(connection, parted, part)]

    def dropped(part: Part) -> bool:
        def work(connection: Connection) -> bool:
            if not _is_spent(connection, parted, part):  # asked again, now that nobody can put in another row
                return False
            connection.execute(text(f"DROP TABLE {part.name(parted.table)}"))
            return True

        return _changed(store, parted, "ACCESS EXCLUSIVE", part.name(parted.table), work)

    names = tuple(part.name(parted.table) for part in spent if dropped(part))
    if names:
        log.info("parts-dropped names=%s", ",".join(names))
    return names


def is_parted(connection: Connection, table: Table) -> bool:
    """Whether this store has the table in parts: `relkind` p, as PostgreSQL's catalogue says it."""
    if connection.dialect.name == "sqlite":
        return False
    kind = text("SELECT relkind = 'p' FROM pg_class WHERE oid = to_regclass(:name)")
    return bool(connection.scalar(kind, {"name": table.name}))


def _parts(parted: Parted, first_s: int, last_s: int) -> Iterator[Part]:
    if first_s > last_s:
        return
    part, last = part_at(first_s, parted.months), part_at(last_s, parted.months)
    while part <= last:
        yield part
        part = part.next()


def _made(connection: Connection, parted: Parted) -> list[Part]:
    """Those that are there, the oldest first."""
    query = text(
        "SELECT c.relname FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid "
        "WHERE i.inhparent = to_regclass(:name)"
    )
    shape = re.compile(rf"{parted.table.name}_(\d{{4}})(?:_(\d\d))?")
    found = (shape.fullmatch(name) for name in connection.scalars(query, {"name": parted.table.name}))
    return sorted(Part(int(match[1]), int(match[2] or 1), parted.months) for match in found if match)


def _waiting(connection: Connection, parted: Parted, latest_s: int) -> set[Part]:
    """Parts of rows in the rest that are no outliers."""
    times = text(
        f"SELECT DISTINCT {parted.column} * {parted.per_s[1]}::bigint / {parted.per_s[0]} / {DAY_S} "
        f"FROM {parted.rest} WHERE {parted.column} >= :first AND {parted.column} < :stop"
    )
    span = {"first": parted.value(EARLIEST_S), "stop": parted.value(latest_s)}
    return {part_at(day * DAY_S, parted.months) for day in connection.scalars(times, span)}


def _make_missing(store: Store, parted: Parted, wanted: set[Part]) -> None:
    with store.read() as connection:
        missing = sorted(wanted - set(_made(connection, parted)))
    for part in missing:

        def work(connection: Connection, part: Part = part) -> bool:
            if part in _made(connection, parted):
                return False
            _make(connection, parted, part)
            return True

        # Who writes waits for a moment, who reads does not.
        _changed(store, parted, "SHARE ROW EXCLUSIVE", part.name(parted.table), work)


def _make(connection: Connection, parted: Parted, part: Part) -> None:
    """Makes a part, with what the rest has caught of it. Nobody may be writing to the table meanwhile."""
    table, column, name = parted.table.name, parted.column, part.name(parted.table)
    first, stop = parted.value(part.first_s), parted.value(part.stop_s)
    for statement in (
        f"CREATE TABLE {name} (LIKE {table} INCLUDING ALL)",
        f"WITH moved AS (DELETE FROM {parted.rest} WHERE {column} >= {first} AND {column} < {stop} "
        f"RETURNING *) INSERT INTO {name} SELECT * FROM moved",
        f"ALTER TABLE {table} ATTACH PARTITION {name} FOR VALUES FROM ({first}) TO ({stop})",
    ):
        connection.execute(text(statement))


def _changed(store: Store, parted: Parted, mode: str, name: str, work: Callable[[Connection], bool]) -> bool:
    """What `work` answers while the table, not its parts, is held; False where others are in the way."""
    try:
        with store.write() as connection:
            connection.execute(text(f"SET LOCAL lock_timeout = '{LOCK_S}s'"))
            if not connection.scalar(text("SELECT pg_try_advisory_xact_lock(:key)"), {"key": _CARING}):
                return False  # another daemon is at it
            connection.execute(text(f"LOCK TABLE ONLY {parted.table.name} IN {mode} MODE"))
            return work(connection)
    except StoreError as error:
        if error.reason != "locked":
            raise
        log.warning("part-put-off name=%s reason=%r", name, error.message)
        return False


def _is_spent(connection: Connection, parted: Parted, part: Part) -> bool:
    """Whether some site has given this part up by age, and none keeps a reading of it."""
    sites, progress, table = schema.sites.c, schema.progress.c, parted.table
    both = schema.sites.outerjoin(schema.progress, progress.site == sites.id)
    kept_from_s = progress.row_s - sites.keep_days * DAY_S  # NULL: for ever
    given_up_s = connection.scalar(select(func.max(kept_from_s)).select_from(both))
    if given_up_s is None or given_up_s < part.stop_s:
        return False  # as a rule; the rest is asked when a month has come of age
    mine = and_(
        table.c.site == sites.id,
        table.c[parted.column] >= parted.value(part.first_s),
        table.c[parted.column] < parted.value(part.stop_s),
    )
    keeps = func.coalesce(kept_from_s < part.stop_s, True)
    kept = select(sites.id).select_from(both).where(keeps, select(table.c.site).where(mine).exists())
    return connection.scalar(kept.limit(1)) is None
