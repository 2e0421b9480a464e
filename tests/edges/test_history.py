"""Charts: buckets against plain numpy over all readings, whether finished hours are summed up or not."""

from dataclasses import replace

import numpy as np
import pytest

from propstick.blocks import Flag
from propstick.edges.history import HOUR_MS
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.records import Outcome, Reading

START_S = 1_770_000_000 // 3600 * 3600
START_MS = START_S * 1000


def by_numpy(columns, history):
    """Lowest, mean, highest and count of each bucket and probe, reading by reading."""
    good = (columns.flags == 0) | (columns.flags == int(Flag.LATE))
    shape = history.count.shape
    low, mean, high = (np.full(shape, np.nan) for _ in range(3))
    count = np.zeros(shape, dtype=int)
    bucket = (columns.time_ms - history.start_ms) // history.bucket_ms
    for k in range(shape[0]):
        for p, name in enumerate(history.probes):
            mine = (bucket == k) & (columns.column == columns.probes.index(name)) & good
            mine &= ~np.isnan(columns.raw)
            if mine.any():
                values = columns.raw[mine]
                low[k, p], mean[k, p], high[k, p] = values.min(), values.mean(), values.max()
                count[k, p] = mine.sum()
    return low, mean, high, count


def assert_same(history, columns):
    low, mean, high, count = by_numpy(columns, history)
    assert np.array_equal(history.count, count)
    assert np.array_equal(history.low, low, equal_nan=True)
    assert np.array_equal(history.high, high, equal_nan=True)
    assert np.allclose(history.mean, mean, rtol=0, atol=1e-9, equal_nan=True)


@pytest.fixture
def lived(store, make_columns):
    """Four days of two probes every ten minutes with gaps, faults and late readings."""
    rng = np.random.default_rng(5)
    values = np.round(rng.normal(5, 9, (576, 2)), 2)
    values[rng.random(values.shape) < 0.1] = np.nan
    flags = np.where(rng.random(values.shape) < 0.1, int(Flag.JUMP), 0)
    flags = np.where(rng.random(values.shape) < 0.05, int(Flag.LATE), flags)
    columns = make_columns(values, probes=["a", "b"], start_s=START_S, step_s=600, flags=flags)
    log = ReadingLog(store, "home")
    log.bulk_add(columns)
    return log, log.columns(0, 2**60)


@pytest.mark.parametrize("points", [1, 7, 30, 96, 97, 500])
def test_buckets_are_what_numpy_makes_of_all_readings(lived, points):
    """From one bucket for everything to more buckets than readings."""
    log, columns = lived
    history = log.history(["b", "a"], START_MS, START_MS + 96 * HOUR_MS, points)
    assert history.probes == ("b", "a")
    assert 0 < len(history.count) <= points
    assert_same(history, columns)
    assert history.count.sum() > 900


def test_odd_ends_are_widened_to_the_hour_for_long_stretches(lived):
    """The first bucket begins and the last ends at a full hour; never more are given than asked for."""
    log, _ = lived
    columns = log.columns(0, START_MS + 91 * HOUR_MS)
    history = log.history(["a"], START_MS + 1_234_567, START_MS + 90 * HOUR_MS + 1, 20)
    assert history.start_ms == START_MS
    assert history.bucket_ms % HOUR_MS == 0
    assert len(history.time_ms) <= 20
    assert_same(history, columns)


def test_short_stretches_are_exact_to_the_millisecond(lived):
    """Below an hour a bucket nothing is widened."""
    log, columns = lived
    from_ms = START_MS + 600_000 + 1
    history = log.history(["a", "b"], from_ms, from_ms + 5 * HOUR_MS, 10)
    assert history.start_ms == from_ms
    inside = (columns.time_ms >= from_ms) & (columns.time_ms < from_ms + 5 * HOUR_MS)
    assert history.count.sum() == by_numpy(columns, history)[3].sum()
    assert inside.sum() > history.count.sum() > 0


def test_empty_stretch_and_unknown_probe_are_no_error(lived):
    """A chart of nothing is empty, not a fault."""
    log, _ = lived
    assert log.history(["a"], START_MS - 10 * HOUR_MS, START_MS - 5 * HOUR_MS, 5).count.sum() == 0
    assert log.history(["nobody"], START_MS, START_MS + HOUR_MS, 5).count.shape == (5, 0)
    assert log.history(["a"], START_MS, START_MS, 5).count.shape == (0, 1)


def test_rows_of_the_watch_are_summed_up_as_hours_end(store):
    """Row by row over hour ends, a pause, readings that came late: always what numpy says."""
    journal, log = Journal(store, "home"), ReadingLog(store, "home")
    rng = np.random.default_rng(8)
    rows = [*range(0, 200 * 60, 600), *range(7 * 3600, 10 * 3600, 600)]
    for k, after_s in enumerate(rows):
        row_s = START_S + after_s
        readings = [Reading("a", row_s * 1000, round(rng.normal(5, 9), 2))]
        if k % 5 == 4:  # one that its node kept for two hours
            late_ms = (row_s - 7200) * 1000 + 5
            readings.append(Reading("b", late_ms, round(rng.normal(5, 9), 2), int(Flag.LATE)))
        if k % 7 == 6:  # one that missed its row by a second, perhaps at the end of an hour
            readings.append(Reading("b", row_s * 1000 - 601_000, 1.5, int(Flag.NEXT_ROW)))
        journal.commit(row_s=row_s, readings=readings, outcome=Outcome())
    columns = log.columns(0, 2**60)
    history = log.history(["a", "b"], START_MS - 3 * HOUR_MS, START_MS + 11 * HOUR_MS, 14)
    assert history.bucket_ms == HOUR_MS
    assert history.count.sum() == len(columns)
    assert_same(history, replace(columns, flags=columns.flags & int(Flag.LATE)))


@pytest.mark.slow
def test_season_chart_reads_hours_not_readings(sqlite_store, make_columns):
    """Half a year at 500 points touches some 4,000 hourly sums a probe, counted by SQLite's own steps."""
    log = ReadingLog(sqlite_store, "home")
    log.bulk_add(make_columns(np.full((30 * 1440, 2), 7.0), probes=["a", "b"], start_s=START_S))
    steps = []
    with sqlite_store.read() as connection:
        raw = connection.connection.driver_connection
        raw.set_progress_handler(lambda: steps.append(1) and 0, 1000)
    log.history(["a"], START_MS, START_MS + 30 * 86_400_000, 500)
    season = len(steps)
    steps.clear()
    log.columns(START_MS, START_MS + 30 * 86_400_000)
    everything = len(steps)
    raw.set_progress_handler(None, 0)
    assert season * 20 < everything
