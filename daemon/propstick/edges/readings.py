"""Readings in and out of the store, one at a time as they are lived, many at once as columns.

Kept: raw value as sensed, in hundredths; no number at all is NULL and a flag. Identity is (probe,
time): of two readings with the same the first stays.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np
from sqlalchemy import Connection, func, select

from propstick.blocks import FAULT_BITS, Flag
from propstick.edges import partitions, schema
from propstick.edges.history import HOUR_MS, History, buckets, roll_hours
from propstick.edges.store import Store
from propstick.grid import ReadingColumns
from propstick.records import Reading
from propstick.times import DAY_S

_LARGEST_CC = 2**31 - 1
_ROW = np.dtype([("time_ms", "i8"), ("probe", "i4"), ("raw_cc", "f8"), ("flags", "u2")])
_INSERT = (
    "INSERT INTO readings (site, time_ms, probe, raw_cc, flags) VALUES (?, ?, ?, ?, ?) ON CONFLICT DO NOTHING"
)
_CHUNK = 200_000
"""Readings a transaction of an import: few enough that the watch's own write gets its turn."""


def stored_value(raw: float) -> float | None:
    """The value as the store will give it back: rounded to 0.01, None if it is not a number it can hold.

    The engine must be given this, not what was sensed, or a night replayed from the store would
    differ from the night that was lived.
    """
    kept = _centi(raw)
    return None if kept is None else kept / 100


def _centi(raw: float | None) -> int | None:
    if raw is None or not math.isfinite(raw) or abs(raw) * 100 > _LARGEST_CC:
        return None
    return round(raw * 100)


class ReadingLog:
    """The readings of one site."""

    def __init__(self, store: Store, site: str) -> None:
        self._store = store
        self._site = store.site(site)
        self._keys: dict[str, int] = {}

    def probes(self) -> dict[str, int]:
        """Every probe that ever gave a reading, with its key in the table."""
        with self._store.read() as connection:
            return self._known(connection)

    def columns(self, from_ms: int, to_ms: int, *, probes: Sequence[str] | None = None) -> ReadingColumns:
        """The readings from `from_ms` to before `to_ms`, by time; of all probes unless some are named."""
        with self._store.read() as connection:
            known = self._known(connection)
            names = tuple(known) if probes is None else tuple(probes)
            wanted = [known[name] for name in names if name in known]
            only = "" if probes is None else f" AND probe IN ({', '.join(map(str, wanted)) or 'NULL'})"
            cursor = connection.connection.cursor()
            cursor.execute(
                self._store.sql(
                    "SELECT time_ms, probe, raw_cc, flags FROM readings "
                    f"WHERE site = ? AND time_ms >= ? AND time_ms < ?{only} ORDER BY time_ms, probe"
                ),
                (self._site, from_ms, to_ms),
            )
            rows = np.fromiter(cursor, dtype=_ROW)  # a third of the time of fetchmany and np.array
            cursor.close()
        column_of = np.zeros(max(known.values(), default=0) + 1, dtype=np.int32)
        for column, name in enumerate(names):
            if name in known:
                column_of[known[name]] = column
        return ReadingColumns(
            probes=names,
            time_ms=np.ascontiguousarray(rows["time_ms"]),
            column=column_of[rows["probe"]],
            raw=rows["raw_cc"] / 100.0,
            flags=np.ascontiguousarray(rows["flags"]),
        )

    def days(
        self, from_ms: int, to_ms: int, *, probes: Sequence[str] | None = None
    ) -> Iterator[ReadingColumns]:
        """The same in pieces of a UTC day, so that a season never stands in memory whole."""
        day_ms = DAY_S * 1000
        start_ms = self._first_from(from_ms)
        while start_ms is not None and start_ms < to_ms:
            end_ms = min(to_ms, (start_ms // day_ms + 1) * day_ms)
            yield self.columns(start_ms, end_ms, probes=probes)
            # On to the next reading, not to the next day: a clock that was not set leaves one in 1970.
            start_ms = self._first_from(end_ms)

    def history(self, probes: Sequence[str], from_ms: int, to_ms: int, points: int) -> History:
        """Lowest, mean and highest good raw value of each probe in at most `points` buckets."""
        known = self.probes()
        names = [name for name in probes if name in known]
        keys = [known[name] for name in names]
        return buckets(
            self._store, self._site, keys=keys, names=names, from_ms=from_ms, to_ms=to_ms, points=points
        )

    def span(self) -> tuple[int, int] | None:
        """UTC milliseconds of the first and the last reading; None if there are none."""
        table = schema.readings.c
        with self._store.read() as connection:
            ends = [
                connection.scalar(select(end(table.time_ms)).where(table.site == self._site))
                for end in (func.min, func.max)
            ]
        return None if ends[0] is None else (int(ends[0]), int(ends[1]))

    def count(self) -> int:
        """How many readings there are; counts them, so not for every minute."""
        with self._store.read() as connection:
            query = select(func.count()).select_from(schema.readings)
            return int(connection.scalar(query.where(schema.readings.c.site == self._site)) or 0)

    def bulk_add(self, columns: ReadingColumns, *, progress: Callable[[int, int], None] | None = None) -> int:
        """Adds many readings, an import; those already there stay. Returns how many were new.

        Interrupted, it can simply be run again. `progress` is told (done, of all).
        """
        order = np.argsort(columns.time_ms, kind="stable")
        added = 0
        for start in range(0, len(columns), _CHUNK):
            part = order[start : start + _CHUNK]
            added += self._add_part(columns, part)
            if progress is not None:
                progress(min(start + _CHUNK, len(columns)), len(columns))
        return added

    def _add_part(self, columns: ReadingColumns, part: np.ndarray) -> int:
        raw, time_ms = columns.raw[part], columns.time_ms[part]
        with np.errstate(invalid="ignore", over="ignore"):
            held = np.isfinite(raw) & (np.abs(raw) * 100 <= _LARGEST_CC)
        centi: list[int | None] = np.rint(np.where(held, raw, 0.0) * 100).astype(np.int64).tolist()
        for k in np.flatnonzero(~held).tolist():
            centi[k] = None
        flags = columns.flags[part].astype(np.int64)
        flags[~held & ((flags & FAULT_BITS) == 0)] |= int(Flag.NOT_A_NUMBER)
        used = np.unique(columns.column[part])
        days_s = (np.unique(time_ms // (DAY_S * 1000)) * DAY_S).tolist()
        for table in (schema.readings, schema.reading_hours):
            partitions.make_for(self._store, table, days_s, now_s=time.time())
        with self._store.write() as connection:
            keys = self._keys_of(connection, [columns.probes[k] for k in used])
            key_of = np.zeros(len(columns.probes), dtype=np.int64)
            key_of[used] = [keys[columns.probes[k]] for k in used]
            cursor = connection.connection.cursor()
            probe = key_of[columns.column[part]]
            rows = zip(time_ms.tolist(), probe.tolist(), centi, flags.tolist(), strict=True)
            cursor.executemany(self._store.sql(_INSERT), [(self._site, *row) for row in rows])
            added = int(cursor.rowcount)
            first_hour, last_hour = int(time_ms[0]) // HOUR_MS, int(time_ms[-1]) // HOUR_MS
            roll_hours(self._store, cursor, self._site, first_hour=first_hour, stop_hour=last_hour + 1)
            cursor.close()
        self._keys.update(keys)
        return added

    def add_row(
        self, connection: Connection, readings: Sequence[Reading], *, row_s: int, last_row_s: int | None
    ) -> int:
        """A row's readings, late ones among them, in the journal's transaction. Returns how many were new.

        Sums up the hours that ended since `last_row_s`, and those that a late reading fell into.
        """
        keys = self._keys_of(connection, {reading.probe for reading in readings})
        cursor = connection.connection.cursor()
        added = 0
        if readings:
            cursor.executemany(
                self._store.sql(_INSERT),
                [(self._site, r.time_ms, keys[r.probe], _centi(r.value), _kept_flags(r)) for r in readings],
            )
            added = int(cursor.rowcount)
        for first, stop in _hours_to_roll(readings, row_s=row_s, last_row_s=last_row_s):
            roll_hours(self._store, cursor, self._site, first_hour=first, stop_hour=stop)
        cursor.close()
        return added

    def _first_from(self, from_ms: int) -> int | None:
        table = schema.readings.c
        query = select(func.min(table.time_ms)).where(table.site == self._site, table.time_ms >= from_ms)
        with self._store.read() as connection:
            return connection.scalar(query)

    def _known(self, connection: Connection) -> dict[str, int]:
        table = schema.probes.c
        query = select(table.name, table.id).where(table.site == self._site).order_by(table.id)
        return {name: int(key) for name, key in connection.execute(query)}

    def _keys_of(self, connection: Connection, names: Iterable[str]) -> dict[str, int]:
        """The keys of these probes; of new ones too. Remembered only from what was committed before."""
        wanted = set(names)
        if wanted <= self._keys.keys():
            return self._keys
        known = self._known(connection)
        self._keys.update(known)
        missing = sorted(wanted - known.keys())
        if not missing:
            return known
        connection.execute(
            self._store.insert_new(schema.probes), [{"site": self._site, "name": name} for name in missing]
        )
        # Not into the memory yet: if this transaction fails, these keys never were.
        return self._known(connection)


def _kept_flags(reading: Reading) -> int:
    held = _centi(reading.value) is not None
    return reading.flags if held or reading.flags & FAULT_BITS else reading.flags | int(Flag.NOT_A_NUMBER)


def _hours_to_roll(
    readings: Sequence[Reading], *, row_s: int, last_row_s: int | None
) -> list[tuple[int, int]]:
    """Stretches of finished hours (first, stop) whose sums a row changes."""
    now_hour = row_s * 1000 // HOUR_MS
    stretches = []
    first = now_hour if last_row_s is None else last_row_s * 1000 // HOUR_MS
    if first < now_hour:
        stretches.append((first, now_hour))
    late = {r.time_ms // HOUR_MS for r in readings if r.time_ms // HOUR_MS < min(first, now_hour)}
    stretches.extend((hour, hour + 1) for hour in sorted(late))
    return stretches
