"""Parts by time on PostgreSQL: no row lost, none twice, each in its own month, whole months dropped."""

import itertools
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime
from types import SimpleNamespace

import numpy as np
import pytest
from sqlalchemy import text
from sqlalchemy.exc import ProgrammingError

from propstick.edges import migrations, partitions, schema
from propstick.edges.copying import copy_rows
from propstick.edges.database import Store, _checked, _engine, open_store
from propstick.edges.journal import Journal
from propstick.edges.maintenance import prune
from propstick.edges.partitions import PARTED, drop_unkept, make_ahead, part_at
from propstick.edges.readings import ReadingLog
from propstick.records import HeatForecast, Outcome, Reading

DAY_S = 86_400


def at(*date):
    return int(datetime(*date, tzinfo=UTC).timestamp())


NOW_S = at(2026, 2, 20)
_numbers = itertools.count()


@pytest.fixture
def url(postgresql_url, monkeypatch):
    """The address of an empty corner of the server; it is February 2026."""
    corner = f"corner_{next(_numbers)}"
    engine = _engine(_checked(postgresql_url))
    with engine.begin() as connection:
        connection.execute(text(f"DROP SCHEMA IF EXISTS {corner} CASCADE"))
        connection.execute(text(f"CREATE SCHEMA {corner}"))
    engine.dispose()
    for module in ("database", "readings", "copying"):
        monkeypatch.setattr(f"propstick.edges.{module}.time", SimpleNamespace(time=lambda: NOW_S))
    return f"{postgresql_url}&options=-csearch_path%3D{corner}"


@pytest.fixture
def parted(url):
    opened = open_store(url)
    yield opened
    opened.close()


def parts_of(store, table="readings"):
    """Rows by part, and parts without any."""
    with store.read() as connection:
        query = "SELECT inhrelid::regclass::text FROM pg_inherits WHERE inhparent = to_regclass(:t)"
        names = connection.scalars(text(query), {"t": table}).all()
        return {n: connection.scalar(text(f"SELECT count(*) FROM {n}")) for n in sorted(names)}


def commit(store, *times_s, site="home", value=1.0):
    readings = [Reading("28-1", time_s * 1000, value) for time_s in times_s]
    Journal(store, site).commit(row_s=max(times_s), readings=readings, outcome=Outcome())


def plan_of(store, statement):
    with store.read() as connection:
        return "\n".join(connection.scalars(text(f"EXPLAIN (COSTS OFF) {statement}")))


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


def test_a_month_goes_whole_when_nobody_keeps_it(parted):
    """Each by its own days; one that keeps for ever holds only the months it has readings in."""
    months = [at(2025, m, 15) for m in (9, 10, 11, 12)]
    for site, first in (("home", 0), ("plot", 1), ("ever", 3)):
        commit(parted, *months[first:], NOW_S, site=site)
    make_ahead(parted, NOW_S)
    for site, keep_days in (("home", 30), ("plot", 100), ("ever", None)):
        partitions.keep(parted, parted.site(site), keep_days)
    assert drop_unkept(parted) == ("readings_2025_09", "readings_2025_10")
    assert ReadingLog(parted, "home").span()[0] == months[2] * 1000
    assert ReadingLog(parted, "ever").count() == 2
    partitions.keep(parted, parted.site("plot"), 40)
    assert drop_unkept(parted) == ("readings_2025_11",)
    assert drop_unkept(parted) == ()
    hours = parts_of(parted, "reading_hours")
    assert hours["reading_hours_2025"] + hours["reading_hours_rest"] > 0  # sums stay for good


def test_a_site_that_says_nothing_keeps_everything(parted):
    """Before its own first care, and after it was watched for the last time."""
    commit(parted, at(2025, 9, 15), NOW_S, site="home")
    commit(parted, at(2025, 9, 15), site="gone")
    make_ahead(parted, NOW_S)
    partitions.keep(parted, parted.site("home"), 30)
    assert drop_unkept(parted) == ()
    partitions.keep(parted, parted.site("gone"), 30)
    assert drop_unkept(parted) == ()  # its last row is of September
    assert ReadingLog(parted, "gone").count() == 1


def test_the_daily_care_drops_and_makes(parted):
    """What `watch` runs once a day: own readings by the day, months of nobody whole, months to come made."""
    commit(parted, at(2025, 9, 15), at(2026, 1, 3), NOW_S)
    make_ahead(parted, NOW_S)
    assert prune(parted, now_s=at(2026, 4, 10), keep_days=80, site="home") == 1
    found = parts_of(parted)
    assert "readings_2025_09" not in found
    assert found["readings_2026_01"] == 0
    assert "readings_2026_06" in found
    assert ReadingLog(parted, "home").columns(0, 2**60).time_ms.tolist() == [NOW_S * 1000]


def test_months_made_and_dropped_while_others_write_lose_nothing(parted, url):
    """Four writers into months that are made under them, and others dropped; each commit is there once."""
    commit(parted, at(2025, 3, 1), NOW_S, site="w0")
    make_ahead(parted, NOW_S)
    assert parts_of(parted)["readings_2025_03"] == 1
    partitions.keep(parted, parted.site("w0"), 30)
    stop, written, failures = threading.Event(), [0] * 4, []

    def write(k):
        mine = open_store(url)
        journal = Journal(mine, f"w{k}")
        try:
            while not stop.is_set() or written[k] < 100:
                time_s = at(2026, 5, 1) + 7 * 3600 * written[k]
                readings = [Reading(f"28-{p}", time_s * 1000, 1.0) for p in range(3)]
                journal.commit(row_s=time_s, readings=readings, outcome=Outcome())
                written[k] += 1
        except BaseException as error:
            failures.append(error)
        finally:
            mine.close()

    threads = [threading.Thread(target=write, args=(k,)) for k in range(4)]
    for thread in threads:
        thread.start()
    for step in range(12):
        make_ahead(parted, at(2026, 5, 1) + step * 20 * DAY_S)
        drop_unkept(parted)
    stop.set()
    for thread in threads:
        thread.join()
    assert failures == []
    assert min(written) >= 100
    for k in range(4):
        kept = ReadingLog(parted, f"w{k}").columns(at(2026, 5, 1) * 1000, 2**60)
        assert len(kept) == 3 * written[k]
    found = parts_of(parted)
    assert len(found) > 8
    assert "readings_2025_03" not in found


def test_a_long_reader_holds_nobody_up(parted, url, monkeypatch):
    """A backup reads for minutes: the month is put off, the watch writes meanwhile, and later it is made."""
    monkeypatch.setattr(partitions, "LOCK_S", 1)
    commit(parted, at(2026, 6, 1))
    reader = open_store(url)
    with reader.read() as connection:
        assert connection.scalar(text("SELECT count(*) FROM readings")) == 1
        begun = time.monotonic()
        make_ahead(parted, at(2026, 6, 2))
        assert time.monotonic() - begun < 20
        commit(parted, at(2026, 6, 2))
        assert parts_of(parted)["readings_rest"] == 2
    reader.close()
    make_ahead(parted, at(2026, 6, 2))
    assert parts_of(parted)["readings_2026_06"] == 2


def test_trouble_that_is_no_lock_is_said(parted):
    """Somebody's own table of that name: the chore fails in words, and is tried again tomorrow."""
    with parted.write() as connection:
        connection.execute(text("CREATE TABLE readings_2026_05 (site INTEGER)"))
    with pytest.raises(ProgrammingError, match="readings_2026_05"):
        make_ahead(parted, at(2026, 3, 20))


def test_a_store_of_the_first_release_gets_its_parts(url):
    """Every row moves with its values, that of 1970 into the rest; a second migration changes nothing."""
    old = Store(_engine(_checked(url)))
    migrations.upgrade(old, "0001")
    hours = f"generate_series({at(2025, 11, 1) // 3600}, {at(2026, 2, 20) // 3600 - 1}) t"
    with old.write() as connection:
        for statement in (
            "INSERT INTO sites (name) VALUES ('home')",
            "INSERT INTO readings SELECT 1, t * 3600000::bigint, p, t % 997, 0 FROM "
            f"{hours}, generate_series(1, 3) p",
            "INSERT INTO readings VALUES (1, 5000, 1, NULL, 2)",
            f"INSERT INTO reading_hours SELECT 1, p, t, 1, 2, 3, 4 FROM {hours}, generate_series(1, 3) p",
            f"INSERT INTO heat_forecasts VALUES (1, {at(2026, 2, 3)}, 'north', 2700, 1, 2, 3)",
        ):
            connection.execute(text(statement))
    sums = (
        "SELECT count(*), sum(time_ms::numeric * probe), sum(raw_cc) FROM readings",
        "SELECT count(*), sum(hour::numeric * probe), sum(total_cc) FROM reading_hours",
        "SELECT count(*), sum(issued_s), sum(p60_permille) FROM heat_forecasts",
    )

    def summed(store):
        with store.read() as connection:
            return [tuple(connection.execute(text(query)).one()) for query in sums]

    before = summed(old)
    old.close()
    page = open_store(url)  # nobody but the watch changes anything
    assert (page.revision(), summed(page)) == ("0001", before)
    page.close()
    for _ in range(2):
        migrated = open_store(url, migrate=True)
        assert migrated.revision() == schema.REVISION
        assert summed(migrated) == before
        day = 24 * 3
        assert parts_of(migrated) == {
            "readings_2025_11": 30 * day, "readings_2025_12": 31 * day, "readings_2026_01": 31 * day,
            "readings_2026_02": 19 * day, "readings_2026_03": 0, "readings_2026_04": 0, "readings_rest": 1,
        }  # fmt: skip
        assert parts_of(migrated, "heat_forecasts") == {"heat_forecasts_2026": 1, "heat_forecasts_rest": 0}
        migrated.close()


def test_a_store_without_parts_is_cared_for_as_far_as_it_goes(url):
    """Should the migration have been put off, the daily care leaves the tables as they are."""
    old = Store(_engine(_checked(url)))
    migrations.upgrade(old, "0001")
    make_ahead(old, NOW_S)
    partitions.keep(old, None, 30)
    assert drop_unkept(old) == ()
    with old.read() as connection:
        assert not any(partitions.is_parted(connection, each.table) for each in PARTED)
    commit(old, at(2026, 1, 1), NOW_S)
    assert prune(old, now_s=NOW_S, keep_days=30, site="home") == 1
    old.close()


@pytest.mark.slow
def test_what_a_dropped_month_costs(parted):
    """Printed beside the deletion of as many rows: `-s` shows it."""
    first, second, stop = at(2025, 9, 1), at(2025, 10, 1), at(2025, 10, 31)
    commit(parted, first)
    partitions.make_for(parted, schema.readings, [first, second], now_s=NOW_S)
    with parted.write() as connection:
        connection.execute(text(
            "INSERT INTO readings SELECT 1, t * 1000::bigint, p, 1500, 0 FROM "
            f"generate_series({first}, {stop - 1}, 120) t, generate_series(2, 9) p"
        ))  # fmt: skip
    many = 30 * 720 * 8
    begun = time.perf_counter()
    assert prune(parted, now_s=second + 30 * DAY_S, keep_days=30) == many + 1
    deleted_s = time.perf_counter() - begun
    assert "readings_2025_10" in parts_of(parted)
    commit(parted, NOW_S)
    begun = time.perf_counter()
    dropped = drop_unkept(parted)
    dropped_s = time.perf_counter() - begun
    print(
        f"\n{many:,} rows: deleted in {deleted_s:.2f} s, {len(dropped)} months dropped in {dropped_s:.3f} s"
    )
    assert dropped == tuple(f"readings_2025_{month:02}" for month in (9, 10, 11, 12))
    assert ReadingLog(parted, "home").count() == 1
