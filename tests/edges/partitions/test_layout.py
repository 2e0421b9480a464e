"""Each row in its own month, that of an unset clock in the rest; no query looks further than it asks."""

import subprocess
import sys

import numpy as np
import pytest
from sqlalchemy import text
from tests.edges.partitions.parted import DAY_S, NOW_S, at, commit, parts_of, plan_of

from propstick.edges import partitions, schema
from propstick.edges.copying import copy_rows
from propstick.edges.journal import Journal
from propstick.edges.partitions import drop_unkept, make_ahead, part_at
from propstick.edges.readings import ReadingLog
from propstick.records import HeatForecast, Outcome, Reading


@pytest.mark.parametrize(
    ("time_s", "months", "first", "stop"),
    [
        (at(2024, 2, 29, 23, 59, 59), 1, at(2024, 2, 1), at(2024, 3, 1)),
        (at(2026, 12, 31), 1, at(2026, 12, 1), at(2027, 1, 1)),
        (at(2026, 7, 1), 12, at(2026, 1, 1), at(2027, 1, 1)),
    ],
)
def test_a_part_is_a_month_or_a_year_of_the_calendar(time_s, months, first, stop):
    part = part_at(time_s, months)
    assert (part.first_s, part.stop_s) == (first, stop)
    assert part.next().first_s == stop


def test_a_fresh_store_has_its_parts_for_two_months_ahead(parted):
    assert list(parts_of(parted)) == [*(f"readings_2026_{m:02}" for m in (2, 3, 4)), "readings_rest"]
    assert list(parts_of(parted, "reading_hours")) == ["reading_hours_2026", "reading_hours_rest"]
    assert list(parts_of(parted, "heat_forecasts")) == ["heat_forecasts_2026", "heat_forecasts_rest"]


def test_sqlite_has_none(sqlite_store):
    make_ahead(sqlite_store, NOW_S)
    assert drop_unkept(sqlite_store) == ()
    with sqlite_store.read() as connection:
        names = connection.scalars(text("SELECT name FROM sqlite_master WHERE type = 'table'")).all()
        assert not partitions.is_parted(connection, schema.readings)
    assert sorted(names) == sorted([*schema.metadata.tables, "alembic_version"])


def test_a_pi_loads_nothing_of_it(tmp_path):
    """Two MiB that a daemon on SQLite does without."""
    asked = (
        "import sys; import propstick.app.live.wiring; from propstick.edges.database import open_store; "
        f"open_store('sqlite:///{tmp_path}/s.db', migrate=True).site('home'); "
        "print('sqlalchemy.dialects.postgresql' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"


def test_each_row_lies_in_its_month_and_that_of_an_unset_clock_in_the_rest(parted):
    commit(parted, 30, at(2026, 2, 28, 23, 59), at(2026, 3, 1))
    assert parts_of(parted) == {
        "readings_2026_02": 1, "readings_2026_03": 1, "readings_2026_04": 0, "readings_rest": 1,
    }  # fmt: skip
    log = ReadingLog(parted, "home")
    assert log.columns(0, 2**60).time_ms.tolist() == [
        30_000,
        at(2026, 2, 28, 23, 59) * 1000,
        at(2026, 3, 1) * 1000,
    ]
    assert log.span() == (30_000, at(2026, 3, 1) * 1000)
    make_ahead(parted, NOW_S)
    assert parts_of(parted)["readings_rest"] == 1


def test_what_the_rest_caught_moves_when_its_month_is_made(parted):
    """Months that nobody cared for: nothing is lost meanwhile, nothing changed or doubled by the move."""
    late = [at(2026, 6, 1) + 3600 * k for k in range(50)]
    commit(parted, *late, at(2026, 7, 2), at(2037, 1, 1))
    log = ReadingLog(parted, "home")
    before = log.columns(0, 2**60)
    assert parts_of(parted)["readings_rest"] == 52
    make_ahead(parted, at(2026, 7, 2))
    found = parts_of(parted)
    assert (found["readings_2026_06"], found["readings_2026_07"]) == (50, 1)
    assert found["readings_rest"] == 1  # a clock that ran ahead: no month of ours yet
    assert {"readings_2026_08", "readings_2026_09"} <= set(found)
    after = log.columns(0, 2**60)
    assert after.time_ms.tolist() == before.time_ms.tolist()
    assert after.raw.tolist() == before.raw.tolist()
    commit(parted, *late, value=5.0)  # the first stays, wherever it lies
    assert log.columns(0, 2**60).raw.tolist() == before.raw.tolist()
    make_ahead(parted, at(2026, 7, 2))
    assert parts_of(parted) == found


def test_an_unset_clock_makes_no_parts(parted):
    before = parts_of(parted)
    make_ahead(parted, 400 * DAY_S)
    assert parts_of(parted) == before


def test_an_import_makes_its_own_months_and_no_others(parted, make_columns):
    """Of 2024, with a line of 1970 and one to come among them: three months are made, not six hundred."""
    columns = make_columns(np.arange(70.0), probes=["a"], start_s=at(2024, 1, 30), step_s=DAY_S)
    columns.time_ms[0], columns.time_ms[-1] = 5_000, at(2031, 1, 1) * 1000
    assert ReadingLog(parted, "home").bulk_add(columns) == 70
    found = parts_of(parted)
    made = {name: rows for name, rows in found.items() if "2026" not in name}
    assert made == {
        "readings_2024_01": 1, "readings_2024_02": 29, "readings_2024_03": 31, "readings_2024_04": 7,
        "readings_rest": 2,
    }  # fmt: skip
    assert parts_of(parted, "reading_hours") == {
        "reading_hours_2024": 68, "reading_hours_2026": 0, "reading_hours_rest": 2,
    }  # fmt: skip


def test_a_copy_from_sqlite_makes_the_months_too(parted, sqlite_store):
    heat = HeatForecast(box="north", issued_s=at(2025, 11, 5), limit_c=27.0, p20=0.1, p30=0.2, p60=0.3)
    readings = [Reading("28-1", at(2025, 11, 5) * 1000, 1.0)]
    Journal(sqlite_store, "home").commit(
        row_s=at(2025, 11, 5), readings=readings, outcome=Outcome(heat=(heat,))
    )
    copy_rows(sqlite_store, parted)
    assert parts_of(parted)["readings_2025_11"] == 1
    assert parts_of(parted, "heat_forecasts")["heat_forecasts_2025"] == 1
    assert Journal(parted, "home").issued("heat", 0, 2**40) == (heat,)


def test_the_planner_looks_only_into_the_months_asked_for(parted):
    commit(parted, at(2026, 2, 3), at(2026, 3, 3))
    window = f"time_ms >= {at(2026, 3, 1) * 1000} AND time_ms < {at(2026, 3, 9) * 1000}"
    plan = plan_of(
        parted, f"SELECT time_ms, raw_cc FROM readings WHERE site = 1 AND {window} ORDER BY time_ms"
    )
    assert "readings_2026_03" in plan
    assert "readings_2026_02" not in plan
    assert "readings_rest" not in plan
    # Across a border both, without a limit all: the test can tell.
    assert "readings_2026_02" in plan_of(
        parted, f"SELECT 1 FROM readings WHERE time_ms < {at(2026, 3, 2)}000"
    )
    assert "readings_rest" in plan_of(parted, "SELECT 1 FROM readings")


def test_our_own_queries_are_pruned_with_their_values_bound(parted):
    """As the driver sends them, one that it has prepared too: told by the server's counters of scans."""
    commit(parted, at(2026, 2, 3), at(2026, 3, 3))
    seen = []

    def looked_into(ask):
        scans = text(
            "SELECT relname, seq_scan + coalesce(idx_scan, 0) AS n FROM pg_stat_xact_user_tables "
            "WHERE relname LIKE 'readings_%'"
        )
        with parted.read() as connection:
            before = dict(connection.execute(scans).all())
            ask(connection)
            after = dict(connection.execute(scans).all())
        return {name for name in after if after[name] > before.get(name, 0)}

    def columns(connection):
        cursor = connection.connection.cursor()
        cursor.execute(
            parted.sql("SELECT time_ms FROM readings WHERE site = ? AND time_ms >= ? AND time_ms < ?"),
            (1, at(2026, 3, 1) * 1000, at(2026, 3, 9) * 1000),
        )
        seen.extend(cursor.fetchall())

    for _ in range(7):  # from the sixth on the driver prepares it
        assert looked_into(columns) == {"readings_2026_03"}
    assert seen == [(at(2026, 3, 3) * 1000,)] * 7
