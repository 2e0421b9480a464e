"""What readings came to by the hour and by the bucket, for charts of a day as of a season.

A season is four million readings; its chart needs five hundred points. Finished hours are summed up
once, in the transaction that ends them, and again when a late reading falls into them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from propstick.blocks import FAULT_BITS, Flag
from propstick.edges.store import Store
from propstick.units import FloatArray, IntArray

HOUR_MS = 3_600_000
_NOT_SHOWN = FAULT_BITS & ~int(Flag.LATE)
"""A late reading decides nothing, but it was so."""


@dataclass(frozen=True)
class History:
    """Buckets of time by probes: k of them, p probes.

    Attributes:
        start_ms: UTC milliseconds at which the first bucket begins.
        bucket_ms: Length of each.
        low, mean, high: Of the good raw values in the bucket, NaN where there was none; shape (k, p).
        count: How many they were, shape (k, p).
    """

    probes: tuple[str, ...]
    start_ms: int
    bucket_ms: int
    low: FloatArray
    mean: FloatArray
    high: FloatArray
    count: IntArray

    @property
    def time_ms(self) -> IntArray:
        """UTC milliseconds at which each bucket begins, shape (k,)."""
        return self.start_ms + self.bucket_ms * np.arange(len(self.count), dtype=np.int64)


def roll_hours(store: Store, cursor: Any, site: int, *, first_hour: int, stop_hour: int) -> None:
    """Sums up the hours `first_hour` … `stop_hour` - 1 anew (hours since 1970), in an open transaction."""
    cursor.execute(
        store.sql(
            "INSERT INTO reading_hours (site, probe, hour, low_cc, high_cc, total_cc, count) "
            f"SELECT site, probe, time_ms / {HOUR_MS}, min(raw_cc), max(raw_cc), sum(raw_cc), count(*) "
            "FROM readings WHERE site = ? AND time_ms >= ? AND time_ms < ? "
            f"AND raw_cc IS NOT NULL AND (flags & {_NOT_SHOWN}) = 0 "
            f"GROUP BY site, probe, time_ms / {HOUR_MS} "
            "ON CONFLICT (site, probe, hour) DO UPDATE SET low_cc = excluded.low_cc, "
            "high_cc = excluded.high_cc, total_cc = excluded.total_cc, count = excluded.count"
        ),
        (site, first_hour * HOUR_MS, stop_hour * HOUR_MS),
    )


def buckets(
    store: Store,
    site: int,
    *,
    keys: Sequence[int],
    names: Sequence[str],
    from_ms: int,
    to_ms: int,
    points: int,
) -> History:
    """At most `points` buckets from `from_ms` to before `to_ms`.

    From half an hour a bucket on, they are whole hours, so that the first and the last may reach out
    of what was asked by less than an hour.
    """
    points = max(1, points)
    start_ms, width_ms = from_ms, max(1, -(-(to_ms - from_ms) // points))
    by_hours = width_ms > HOUR_MS // 2  # then half the points at the least, and no reading is touched
    if by_hours:
        start_ms = from_ms // HOUR_MS * HOUR_MS
        width_ms = -(-(to_ms - start_ms) // (points * HOUR_MS)) * HOUR_MS
    number = max(0, -(-(to_ms - start_ms) // width_ms))
    parts: list[tuple[int, int, int, int, Any, int]] = []
    if number and keys:
        with store.cursor() as cursor:
            single_from_ms = start_ms
            if by_hours:
                stop_hour = _finished_hours(store, cursor, site, to_ms)
                single_from_ms = max(start_ms, stop_hour * HOUR_MS)
                parts += _from_hours(store, cursor, site, keys, (start_ms, width_ms, stop_hour))
            parts += _from_readings(store, cursor, site, keys, (start_ms, width_ms, single_from_ms, to_ms))
    return _laid(parts, number, keys, tuple(names), start_ms, width_ms)


def _finished_hours(store: Store, cursor: Any, site: int, to_ms: int) -> int:
    """The first hour that has to be read reading by reading: what the watch is still filling."""
    cursor.execute(store.sql("SELECT row_s FROM progress WHERE site = ?"), (site,))
    found = cursor.fetchone()
    asked = -(-to_ms // HOUR_MS)
    return asked if found is None else min(asked, int(found[0]) * 1000 // HOUR_MS)


def _from_hours(
    store: Store, cursor: Any, site: int, keys: Sequence[int], window: tuple[int, int, int]
) -> list[Any]:
    start_ms, width_ms, stop_hour = window
    first, per_bucket = start_ms // HOUR_MS, width_ms // HOUR_MS
    cursor.execute(
        store.sql(
            f"SELECT probe, (hour - {first}) / {per_bucket} AS bucket, "
            "min(low_cc), max(high_cc), sum(total_cc), sum(count) "
            f"FROM reading_hours WHERE site = ? AND probe IN ({_listed(keys)}) AND hour >= ? AND hour < ? "
            "GROUP BY probe, bucket"
        ),
        (site, first, stop_hour),
    )
    return cursor.fetchall()


def _from_readings(
    store: Store, cursor: Any, site: int, keys: Sequence[int], window: tuple[int, int, int, int]
) -> list[Any]:
    start_ms, width_ms, from_ms, to_ms = window
    cursor.execute(
        store.sql(
            f"SELECT probe, (time_ms - {start_ms}) / {width_ms} AS bucket, "
            "min(raw_cc), max(raw_cc), sum(raw_cc), count(*) "
            f"FROM readings WHERE site = ? AND time_ms >= ? AND time_ms < ? AND probe IN ({_listed(keys)}) "
            f"AND raw_cc IS NOT NULL AND (flags & {_NOT_SHOWN}) = 0 GROUP BY probe, bucket"
        ),
        (site, from_ms, to_ms),
    )
    return cursor.fetchall()


def _listed(keys: Sequence[int]) -> str:
    return ", ".join(str(int(key)) for key in keys)


def _laid(
    parts: list[tuple[int, int, int, int, Any, int]],
    number: int,
    keys: Sequence[int],
    names: tuple[str, ...],
    start_ms: int,
    width_ms: int,
) -> History:
    """Sums by bucket as arrays. The same bucket may come twice: finished hours and the one under way."""
    shape = (number, len(names))
    low, high = np.full(shape, np.inf), np.full(shape, -np.inf)
    total, count = np.zeros(shape), np.zeros(shape, dtype=np.int64)
    column = {key: k for k, key in enumerate(keys)}
    for probe, bucket, lowest, highest, summed, counted in parts:
        cell = (int(bucket), column[probe])
        low[cell] = min(low[cell], lowest / 100)
        high[cell] = max(high[cell], highest / 100)
        total[cell] += float(summed) / 100
        count[cell] += int(counted)
    empty = count == 0
    mean = np.divide(total, count, out=np.full(shape, np.nan), where=~empty)
    low[empty] = high[empty] = np.nan
    return History(names, start_ms, width_ms, low, mean, high, count)
