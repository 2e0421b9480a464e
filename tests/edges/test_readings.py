"""Readings come back as they went in, rounded to 0.01, and cost what the budget allows."""

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from propstick.blocks import Flag
from propstick.edges.readings import ReadingLog, stored_value
from propstick.grid import ReadingColumns, lay

START_S = 1_770_000_000


def rows_of(columns: ReadingColumns):
    """As a sorted list of (probe, time, raw, flags), NaN as None."""
    return sorted(
        (columns.probes[c], t, None if math.isnan(r) else r, f)
        for c, t, r, f in zip(
            columns.column.tolist(), columns.time_ms.tolist(), columns.raw.tolist(), columns.flags.tolist(),
            strict=True,
        )
    )  # fmt: skip


@pytest.mark.parametrize(
    ("raw", "kept"),
    [
        # DS18B20 datasheet, table 1: temperatures of its sixteenth degrees.
        (125.0, 125.0), (85.0, 85.0), (25.0625, 25.06), (10.125, 10.12), (0.5, 0.5), (0.0, 0.0), (-0.5, -0.5),
        (-10.125, -10.12), (-25.0625, -25.06), (-55.0, -55.0),
        (0.1 + 0.2, 0.3), (math.nan, None), (math.inf, None), (-math.inf, None), (1e300, None), (3e7, None),
    ],
)  # fmt: skip
def test_stored_value_is_what_comes_back(store, make_columns, raw, kept):
    """The engine is given what a replay will be given."""
    assert stored_value(raw) == kept
    log = ReadingLog(store, "home")
    log.bulk_add(make_columns([raw], probes=["a"]))
    found = log.columns(0, 2**60)
    assert [None if math.isnan(v) else v for v in found.raw] == [kept]
    assert bool(found.flags[0] & Flag.NOT_A_NUMBER) == (kept is None)


@given(st.floats(-1000, 1000))
def test_stored_value_is_rounded_once_and_for_all(raw):
    """Rounding again, here or by numpy as the engine does, changes nothing to the last bit."""
    kept = stored_value(raw)
    assert kept is not None
    assert stored_value(kept) == kept
    assert float(np.round(np.array([kept]), 2)[0]) == kept
    assert float(np.round(np.array([raw]), 2)[0]) == kept


reading = st.tuples(
    st.sampled_from(["28-01", "28-02", "node/air", "ü"]),
    st.integers(0, 4_000_000_000_000),
    st.one_of(st.none(), st.integers(-5500, 12500).map(lambda centi: centi / 100)),
    st.sampled_from([0, int(Flag.LATE), int(Flag.RANGE | Flag.POWER_ON), int(Flag.NEXT_ROW)]),
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(reading, max_size=30))
def test_what_goes_in_comes_out_by_time(sqlite_store, wanted):
    """Any readings, in any order, doubled or not: the first of each (probe, time) stays."""
    site = f"site-{np.random.default_rng().integers(2**60)}"
    log = ReadingLog(sqlite_store, site)
    probes = ("28-01", "28-02", "node/air", "ü")
    added = log.bulk_add(
        ReadingColumns(
            probes=probes,
            time_ms=np.array([t for _, t, _, _ in wanted], dtype=np.int64),
            column=np.array([probes.index(p) for p, _, _, _ in wanted], dtype=np.int32),
            raw=np.array([math.nan if v is None else v for _, _, v, _ in wanted], dtype=float),
            flags=np.array([f for _, _, _, f in wanted], dtype=np.uint16),
        )
    )
    first: dict = {}
    for probe, time_ms, value, flags in wanted:
        nothing = value is None and flags in (0, int(Flag.NEXT_ROW))
        flags |= int(Flag.NOT_A_NUMBER) if nothing else 0
        first.setdefault((probe, time_ms), (probe, time_ms, value, flags))
    found = log.columns(0, 2**60)
    assert added == len(first) == len(found) == log.count()
    key = lambda row: row[:2]  # noqa: E731
    assert sorted(rows_of(found), key=key) == sorted(first.values(), key=key)
    assert (np.diff(found.time_ms) >= 0).all()


def test_columns_take_from_and_leave_to(store, make_columns):
    """Half-open in time; only the probes asked for, in the order asked for; unknown ones are empty."""
    log = ReadingLog(store, "home")
    log.bulk_add(make_columns([[1, 2], [3, 4], [5, 6]], probes=["a", "b"], start_s=START_S))
    found = log.columns(START_S * 1000, (START_S + 120) * 1000, probes=["none", "b"])
    assert found.probes == ("none", "b")
    assert found.raw.tolist() == [2.0, 4.0]
    assert found.column.tolist() == [1, 1]
    assert len(log.columns(0, 2**60, probes=[])) == 0
    assert log.span() == (START_S * 1000, (START_S + 120) * 1000)


def test_sites_do_not_see_each_other(store, make_columns):
    """Two gardens on one store may name their probes alike."""
    one, other = ReadingLog(store, "home"), ReadingLog(store, "plot")
    one.bulk_add(make_columns([1.0], probes=["a"]))
    other.bulk_add(make_columns([2.0], probes=["a"]))
    assert one.columns(0, 2**60).raw.tolist() == [1.0]
    assert other.columns(0, 2**60).raw.tolist() == [2.0]
    assert ReadingLog(store, "third").span() is None


def test_days_give_the_same_in_pieces(store, make_columns):
    """A UTC day at a time; nothing lost at midnight, nothing twice."""
    log = ReadingLog(store, "home")
    values = np.round(np.random.default_rng(3).normal(10, 5, (300, 2)), 2)
    log.bulk_add(make_columns(values, probes=["a", "b"], step_s=1000))
    pieces = list(log.days(0, 2**60))
    assert len(pieces) == 4
    assert np.array_equal(np.concatenate([p.raw for p in pieces]), log.columns(0, 2**60).raw)


def test_import_twice_adds_once(store, make_columns):
    """An interrupted import is simply run again; progress tells how far it is."""
    log = ReadingLog(store, "home")
    columns = make_columns(np.arange(200.0).reshape(-1, 2), probes=["a", "b"])
    told = []
    assert log.bulk_add(columns, progress=lambda done, of: told.append((done, of))) == 200
    assert told == [(200, 200)]
    assert log.bulk_add(columns) == 0
    assert log.count() == 200


@pytest.mark.slow
def test_reading_costs_at_most_24_bytes(sqlite_store, make_columns):
    """The budget of the design, hourly sums included, measured on the closed file: 16 probes, 30 days."""
    rng = np.random.default_rng(1)
    rows = 30 * 1440
    daily = 10 + 8 * np.sin(2 * np.pi * np.arange(rows)[:, None] / 1440)
    values = np.round((daily + rng.normal(0, 0.3, (rows, 16))) * 16) / 16
    log = ReadingLog(sqlite_store, "home")
    log.bulk_add(make_columns(values, probes=[f"28-{k:012x}" for k in range(16)]))
    path = sqlite_store.path
    sqlite_store.close()
    per_reading = path.stat().st_size / (rows * 16)
    assert 10 < per_reading <= 24, per_reading


def test_replay_from_the_store_lays_the_same_rows(store, make_columns):
    """Sixteenths of a degree, rounded as the watch does: the block from the store is the block lived."""
    sensed = np.random.default_rng(2).integers(-160, 640, (120, 3)) / 16
    kept = np.vectorize(stored_value)(sensed)
    lived = make_columns(kept, probes=["a", "b", "c"], start_s=START_S // 60 * 60)
    log = ReadingLog(store, "home")
    log.bulk_add(lived)
    where = {"step_s": 60, "first_row_s": START_S // 60 * 60, "rows": 120}
    replayed = lay(log.columns(0, 2**60), **where)
    assert np.array_equal(replayed.values, lay(lived, **where).values)
    assert replayed.probes == lived.probes
