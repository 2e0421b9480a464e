"""An older store brought up to date: one at a time, after a copy that nothing writes over, or put off."""

import logging
import multiprocessing
import shutil
import sqlite3
import threading
import time

import pytest
from sqlalchemy import text

from propstick.app.live.housekeeping import Housekeeping
from propstick.edges import migrations, schema, upgrading
from propstick.edges.database import _checked, _engine, open_store
from propstick.edges.journal import Journal
from propstick.edges.maintenance import backup, prune, quick_check
from propstick.edges.readings import ReadingLog
from propstick.edges.reserve import Reserve
from propstick.edges.restore import restore
from propstick.edges.salvage import recover, rescue_readings
from propstick.edges.store import Store
from propstick.errors import StoreError
from propstick.records import Outcome, Reading

ROW_S = 1_770_000_000 // 3600 * 3600
MIB = 2**20


def make_old(url, rows=200):
    """A store as the first release left it, closed."""
    store = Store(_engine(_checked(url)))
    migrations.upgrade(store, "0001")
    journal = Journal(store, "home")
    for k in range(rows):
        row_s = ROW_S + 60 * k
        readings = [Reading(f"28-{p}", row_s * 1000, k / 4 + p) for p in range(4)]
        journal.commit(row_s=row_s, readings=readings, outcome=Outcome())
    store.close()


@pytest.fixture(scope="module")
def old(tmp_path_factory):
    """The file of such a store, to be copied."""
    path = tmp_path_factory.mktemp("old") / "w.db"
    make_old(f"sqlite:///{path}")
    return path


@pytest.fixture
def url(old, tmp_path):
    shutil.copyfile(old, tmp_path / "w.db")
    return f"sqlite:///{tmp_path / 'w.db'}"


def copies(folder):
    return sorted(folder.glob("w.db.revision-*"))


def revision_of(path):
    with sqlite3.connect(path) as connection:
        return connection.execute("SELECT version_num FROM alembic_version").fetchone()[0]


def count_of(path):
    with sqlite3.connect(path) as connection:
        return connection.execute("SELECT count(*) FROM readings").fetchone()[0]


def free(monkeypatch, size):
    """A disk with so much room, as far as we ask it."""
    usage = shutil.disk_usage("/")
    monkeypatch.setattr(upgrading.shutil, "disk_usage", lambda _folder: usage._replace(free=size))


def test_the_copy_bears_revision_and_time_and_is_private(url, tmp_path, monkeypatch):
    monkeypatch.setattr(upgrading.time, "time", lambda: ROW_S)
    store = open_store(url, migrate=True)
    assert (store.revision(), store.put_off) == (schema.REVISION, "")
    store.close()
    (copy,) = copies(tmp_path)
    assert copy.name == "w.db.revision-0001-20260202T020000Z"
    assert copy.stat().st_mode & 0o077 == 0
    assert (revision_of(copy), count_of(copy), count_of(tmp_path / "w.db")) == ("0001", 800, 800)


def test_a_second_upgrade_keeps_both_copies(url, tmp_path, monkeypatch):
    """Back to the old release, other rows, forward again in the same second: neither is written over."""
    monkeypatch.setattr(upgrading.time, "time", lambda: ROW_S)
    open_store(url, migrate=True).close()
    for path in tmp_path.glob("w.db*"):
        if "revision" not in path.name:
            path.unlink()
    make_old(url, rows=10)
    open_store(url, migrate=True).close()
    assert [(revision_of(c), count_of(c)) for c in copies(tmp_path)] == [("0001", 800), ("0001", 40)]


def test_a_start_that_failed_half_way_leaves_one_copy_however_often(url, tmp_path, monkeypatch):
    """A copy that holds what the store still does is taken for what it is; a part of one is cleared away."""
    real = migrations.upgrade

    def fails(_store, _revision="head"):
        raise ZeroDivisionError

    monkeypatch.setattr(migrations, "upgrade", fails)
    seconds = iter(range(100))
    monkeypatch.setattr(upgrading.time, "time", lambda: ROW_S + next(seconds))
    for _ in range(3):
        with pytest.raises(ZeroDivisionError):
            open_store(url, migrate=True)
    (copy,) = copies(tmp_path)
    for ending in (".part", ".part-journal"):
        (tmp_path / f"w.db.revision-0001-20990101T000000Z{ending}").write_bytes(b"half")
    old = open_store(url, as_it_is=True)
    Journal(old, "home").commit(row_s=ROW_S + 60 * 500, readings=[], outcome=Outcome())
    old.close()
    monkeypatch.setattr(migrations, "upgrade", real)
    open_store(url, migrate=True).close()
    assert copies(tmp_path)[0] == copy
    assert len(copies(tmp_path)) == 2  # it had changed in between; no part is left


def test_two_at_once_migrate_once_and_the_copy_stays_of_the_old_schema(url, tmp_path, monkeypatch):
    """The second comes while the first is at it: it waits, and copies nothing."""
    real, begun, ran = migrations.upgrade, threading.Event(), []

    def slowly(store, revision="head"):
        ran.append(store.revision())
        begun.set()
        time.sleep(0.5)
        real(store, revision)

    monkeypatch.setattr(migrations, "upgrade", slowly)
    found = []

    def start():
        store = open_store(url, migrate=True)
        found.append(store.revision())
        store.close()

    threads = [threading.Thread(target=start) for _ in range(3)]
    threads[0].start()
    assert begun.wait(10)
    for thread in threads[1:]:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [schema.REVISION] * 3
    assert ran == ["0001"]
    (copy,) = copies(tmp_path)
    assert (revision_of(copy), count_of(copy)) == ("0001", 800)


def _hold(folder, ready, stop):
    store = Store(_engine(_checked(f"sqlite:///{folder / 'w.db'}")))
    with upgrading._alone(store):
        ready.set()
        stop.wait(30)
    store.close()


def test_who_waits_too_long_says_so_and_a_dead_one_holds_nothing(url, tmp_path, monkeypatch):
    """The lock is the kernel's: it ends with the process, SIGKILL too."""
    monkeypatch.setattr(upgrading, "PATIENCE_S", 0.3)
    context = multiprocessing.get_context("spawn")
    ready, stop = context.Event(), context.Event()
    other = context.Process(target=_hold, args=(tmp_path, ready, stop))
    other.start()
    assert ready.wait(30)
    with pytest.raises(StoreError, match="changing its schema") as caught:
        open_store(url, migrate=True)
    assert caught.value.reason == "locked"
    assert copies(tmp_path) == []
    other.kill()
    other.join()
    open_store(url, migrate=True).close()
    assert len(copies(tmp_path)) == 1


def test_without_room_the_watch_goes_on_with_the_older_schema(url, tmp_path, monkeypatch, caplog):
    """It reads, writes and prunes; says how much is missing; and is done once there is room."""
    free(monkeypatch, 2 * MIB)
    with caplog.at_level(logging.ERROR):
        store = open_store(url, migrate=True)
    assert "migration-put-off" in caplog.text
    assert "2 MiB free, expected 5" in caplog.text
    assert store.put_off == ("the store is not yet this release's; free 3 MiB, then start the watch again")
    assert store.revision() == "0001"
    assert copies(tmp_path) == []
    journal = Journal(store, "home")
    row_s = ROW_S + 60 * 200
    readings = [Reading("28-new", row_s * 1000, 9.0)]
    journal.take_lease("a b 1 2", row_s)
    journal.commit(row_s=row_s, readings=readings, outcome=Outcome(), lease_until_s=row_s + 60)
    assert ReadingLog(store, "home").count() == 801
    assert ReadingLog(Store(store.engine), "new").count() == 0  # a site more
    page = open_store(url, create=False)
    assert ReadingLog(page, "home").history(["28-new"], row_s * 1000, (row_s + 60) * 1000, 1).count == 1
    page.close()
    assert prune(store, now_s=ROW_S + 86_400, keep_days=90, site="home") == 0
    backup(store, tmp_path / "b.db")
    house = Housekeeping(folder=None, backup=None, prune=int, zone="UTC", put_off=store.put_off)
    assert house.troubles() == {"store-trouble": store.put_off}
    store.close()
    monkeypatch.undo()
    again = open_store(url, migrate=True)
    assert (again.revision(), again.put_off) == (schema.REVISION, "")
    assert ReadingLog(again, "home").count() == 801
    again.close()


def test_the_room_kept_back_is_given_up_if_that_is_enough(url, tmp_path, monkeypatch):
    reserve = Reserve(tmp_path / "w.db", size=8 * MIB)
    assert reserve.hold(spare=0)
    free(monkeypatch, 0)
    store = open_store(url, migrate=True)
    assert (store.revision(), store.put_off) == (schema.REVISION, "")
    store.close()
    assert reserve.held() == 0


def test_the_room_kept_back_stays_if_it_is_not_enough(url, tmp_path, monkeypatch):
    """It is for rows then."""
    reserve = Reserve(tmp_path / "w.db", size=MIB)
    assert reserve.hold(spare=0)
    free(monkeypatch, 0)
    store = open_store(url, migrate=True)
    assert "free 5 MiB" in store.put_off
    store.close()
    assert reserve.held() == MIB


@pytest.mark.parametrize("has_reserve", [True, False])
def test_a_step_that_fills_the_disk_has_not_happened(url, tmp_path, monkeypatch, has_reserve):
    """Tried again with the room kept back; else the copy goes, and the watch works on the store as it was."""
    real, tries = migrations.upgrade, []

    def full(store, revision="head"):
        tries.append(1)
        if len(tries) == 2 and has_reserve:
            real(store, revision)
            return
        with store.write() as connection:
            connection.execute(text("CREATE TABLE half (way INTEGER)"))
            raise StoreError("the disk is full", reason="full")

    monkeypatch.setattr(migrations, "upgrade", full)
    if has_reserve:
        Reserve(tmp_path / "w.db", size=MIB).hold(spare=0)
    store = open_store(url, migrate=True)
    assert len(tries) == (2 if has_reserve else 1)
    assert store.revision() == (schema.REVISION if has_reserve else "0001")
    assert bool(store.put_off) is not has_reserve
    assert len(copies(tmp_path)) == (1 if has_reserve else 0)
    store.close()
    with sqlite3.connect(tmp_path / "w.db") as connection:
        assert connection.execute("SELECT count(*) FROM sqlite_master WHERE name = 'half'").fetchone() == (0,)


def test_a_schema_too_old_to_work_on_is_refused_in_words(url, monkeypatch):
    monkeypatch.setattr(schema, "WORKS_FROM", "0002")
    free(monkeypatch, 0)
    with pytest.raises(StoreError, match="0 MiB free, expected 5") as caught:
        open_store(url, migrate=True)
    assert caught.value.reason == "full"
    assert "free 5 MiB" in caught.value.hint


def test_any_other_trouble_is_not_put_off(url, tmp_path, monkeypatch):
    """A copy that is found damaged ends the start: the watch then sets the file aside."""

    def damaged(*_args, **_more):
        raise StoreError("the copy is damaged", reason="corrupt")

    monkeypatch.setattr(upgrading.maintenance, "backup", damaged)
    with pytest.raises(StoreError) as caught:
        open_store(url, migrate=True)
    assert caught.value.reason == "corrupt"
    assert revision_of(tmp_path / "w.db") == "0001"


def test_a_damaged_older_store_is_rescued_too(url, tmp_path):
    """Read as it stands: nothing is changed in what was set aside, and no copy of it is made."""
    recovered = recover(url, now_s=ROW_S)
    assert recovered.broken == ()
    assert rescue_readings(recovered) == (800 + 4 * 3, ())
    assert ReadingLog(recovered.store, "home").count() == 800
    assert recovered.store.revision() == schema.REVISION
    recovered.store.close()
    assert revision_of(recovered.aside) == "0001"
    assert copies(tmp_path) == []


def test_an_older_backup_is_restored_and_brought_up_to_date(url, tmp_path):
    """The backup stays as it is, and nothing is left beside the store."""
    kept = tmp_path / "elsewhere" / "kept.db"
    old = open_store(url, as_it_is=True)
    backup(old, kept)
    old.close()
    before = kept.read_bytes()
    target = tmp_path / "target" / "w.db"
    target.parent.mkdir()
    restore(kept, f"sqlite:///{target}", now_s=ROW_S)
    restored = open_store(f"sqlite:///{target}", create=False)
    assert restored.revision() == schema.REVISION
    assert ReadingLog(restored, "home").count() == 800
    assert quick_check(restored) == ""
    restored.close()
    assert kept.read_bytes() == before
    assert [p.name for p in target.parent.iterdir()] == ["w.db"]


def test_two_at_once_on_a_server_migrate_once(postgresql_url, monkeypatch):
    engine = _engine(_checked(postgresql_url))
    with engine.begin() as connection:
        connection.execute(text("DROP SCHEMA IF EXISTS twice CASCADE"))
        connection.execute(text("CREATE SCHEMA twice"))
    engine.dispose()
    where = f"{postgresql_url}&options=-csearch_path%3Dtwice"
    make_old(where, rows=20)
    real, ran = migrations.upgrade, []

    def slowly(store, revision="head"):
        ran.append(1)
        time.sleep(0.3)
        real(store, revision)

    monkeypatch.setattr(migrations, "upgrade", slowly)
    found = []

    def start():
        store = open_store(where, migrate=True)
        found.append((store.revision(), ReadingLog(store, "home").count()))
        store.close()

    threads = [threading.Thread(target=start) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [(schema.REVISION, 80)] * 3
    assert ran == [1]
