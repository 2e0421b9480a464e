"""Months made ahead and dropped whole, while others read and write: no row lost, none twice."""

import threading
import time

import pytest
from sqlalchemy import text
from sqlalchemy.exc import ProgrammingError
from tests.edges.partitions.parted import DAY_S, NOW_S, at, commit, parts_of

from propstick.edges import partitions, schema
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.maintenance import prune
from propstick.edges.partitions import drop_unkept, make_ahead
from propstick.edges.readings import ReadingLog
from propstick.records import Outcome, Reading


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
