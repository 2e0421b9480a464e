"""Backups are made while the watch writes, are whole, and come in turn."""

import stat
import threading

import pytest

from propstick.edges import maintenance, schema
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.maintenance import backup, backup_and_rotate, prune, quick_check, rotate
from propstick.edges.readings import ReadingLog
from propstick.edges.requests import Requests
from propstick.errors import StoreError
from propstick.records import Outcome, Reading

DAY_S = 86_400
ROW_S = 1_770_000_000 // 3600 * 3600


def commit_row(journal, k, **more):
    row_s = ROW_S + 60 * k
    readings = [Reading(f"28-{p}", row_s * 1000, k / 4 + p) for p in range(4)]
    journal.commit(row_s=row_s, readings=readings, outcome=Outcome(), **more)


def test_backup_holds_the_store_as_it_is(store, tmp_path, make_change, make_notice):
    """Of either database, into one private file that any release can open."""
    journal = Journal(store, "home")
    commit_row(journal, 0, status={"a": 1}, checkpoint=b"state")
    outcome = Outcome(changes=(make_change(ROW_S),), notices=(make_notice(ROW_S),))
    journal.commit(row_s=ROW_S + 60, readings=[], outcome=outcome, route=lambda _: ("phone",))
    path = backup(store, tmp_path / "kept" / "one.db")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert [p.name for p in path.parent.iterdir()] == ["one.db"]
    copy = open_store(f"sqlite:///{path}", create=False)
    copied = Journal(copy, "home")
    assert copied.last_row() == ROW_S + 60
    assert copied.load_checkpoint() == (ROW_S, b"state")
    assert copied.open_alarms() == journal.open_alarms()
    assert copied.notices(0, 2**40) == journal.notices(0, 2**40)
    assert ReadingLog(copy, "home").columns(0, 2**60).raw.tolist() == [0.0, 1.0, 2.0, 3.0]
    copy.close()


@pytest.mark.slow
def test_backup_while_the_watch_writes_is_of_one_moment(sqlite_store, tmp_path, monkeypatch):
    """Rows go on being committed between its steps; the copy is sound and holds whole rows only."""
    monkeypatch.setattr(maintenance, "_PAGES_A_STEP", 8)
    monkeypatch.setattr(maintenance, "_PAUSE_S", 0.0005)
    journal = Journal(sqlite_store, "home")
    for k in range(200):
        commit_row(journal, k)
    stop, steps, during = threading.Event(), [], []

    def go_on():
        k = 200
        while not stop.is_set():
            commit_row(journal, k)
            during.append(k)
            k += 1

    writing = threading.Thread(target=go_on)
    writing.start()
    try:
        path = backup(sqlite_store, tmp_path / "copy.db", lambda done, of: steps.append((done, of)))
    finally:
        stop.set()
        writing.join()
    assert during
    assert len(steps) > 3
    assert steps[-1][0] == steps[-1][1]
    assert [done for done, _ in steps] == sorted(done for done, _ in steps)  # never begun anew
    copy = open_store(f"sqlite:///{path}", create=False)
    assert quick_check(copy) == ""
    last_s = Journal(copy, "home").last_row()
    assert last_s >= ROW_S + 60 * 199
    assert ReadingLog(copy, "home").count() == ((last_s - ROW_S) // 60 + 1) * 4
    copy.close()
    assert journal.last_row() == ROW_S + 60 * during[-1]


def test_backup_does_not_write_over_a_file(sqlite_store, tmp_path):
    """Unless told to; a failed one leaves neither a half file nor the old one harmed."""
    path = tmp_path / "one.db"
    path.write_text("precious")
    with pytest.raises(StoreError, match="already"):
        backup(sqlite_store, path)
    assert path.read_text() == "precious"
    backup(sqlite_store, path, replace=True)
    assert path.read_bytes().startswith(b"SQLite format 3")


def test_backup_that_cannot_be_written_says_so(sqlite_store, tmp_path):
    """A file where the folder should be."""
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="backup"):
        backup(sqlite_store, tmp_path / "file" / "one.db")


def test_rotation_keeps_the_newest(sqlite_store, tmp_path):
    """By the time in their names; other files are not ours to drop."""
    folder = tmp_path / "backups"
    (tmp_path / "backups").mkdir()
    (folder / "holiday.db").write_text("")
    made = [backup_and_rotate(sqlite_store, folder, keep=3, now_s=ROW_S + k * DAY_S) for k in range(5)]
    assert sorted(folder.iterdir()) == sorted([folder / "holiday.db", *made[2:]])
    assert rotate(folder, 0) == made[2:4]  # the last one is never dropped
    assert made[-1].name == "propstick-20260206T020000Z.db"


def test_sound_store_has_nothing_wrong(store):
    """And says so in the same way on both databases."""
    assert quick_check(store) == ""


def test_pruning_drops_what_is_spent_and_old_readings_if_asked(store, make_notice):
    """Hourly sums stay, so that seasons can still be compared."""
    journal, log = Journal(store, "home"), ReadingLog(store, "home")
    requests = Requests(store, "home")
    done, open_one = (requests.add("watered", {}, by="page", made_s=ROW_S) for _ in range(2))
    notices = Outcome(notices=(make_notice(ROW_S, id="sent"), make_notice(ROW_S, id="stuck")))
    commit_row(journal, 0, requests_done=[done])
    journal.commit(row_s=ROW_S + 3600, readings=[], outcome=notices, route=lambda _: ("phone",))
    journal.outbox.delivered("sent", "phone", ROW_S)
    for k in range(60 * 24, 60 * 24 * 4, 360):
        commit_row(journal, k)
    assert prune(store, now_s=ROW_S + 30 * DAY_S) == 0
    late_s = ROW_S + 100 * DAY_S
    assert prune(store, now_s=late_s) == 2
    assert [r.id for r in requests.pending()] == [open_one]
    assert [o.notice.id for o in journal.outbox.undelivered()] == ["stuck"]
    assert len(journal.notices(0, 2**40)) == 2
    before = log.history(["28-1"], ROW_S * 1000, (ROW_S + 2 * DAY_S) * 1000, 2)
    assert prune(store, now_s=late_s, keep_days=98) == 4 + 4 * 4
    assert log.span()[0] == (ROW_S + 2 * DAY_S) * 1000
    after = log.history(["28-1"], ROW_S * 1000, (ROW_S + 2 * DAY_S) * 1000, 2)
    assert after.count.tolist() == before.count.tolist() == [[1], [4]]


def test_a_neighbour_on_the_same_database_keeps_its_own_readings(store):
    """Each garden file says how long its own are kept, and is asked for nobody else's."""
    for site in ("home", "plot"):
        readings = [Reading("28-1", ROW_S * 1000, 1.0)]
        Journal(store, site).commit(row_s=ROW_S, readings=readings, outcome=Outcome())
    assert prune(store, now_s=ROW_S + 10 * DAY_S, keep_days=5, site="home") == 1
    assert [ReadingLog(store, site).count() for site in ("home", "plot")] == [0, 1]


def test_spent_sessions_are_pruned(store):
    """A token that has run out opens nothing and is not kept."""
    home = store.site("home")
    with store.write() as connection:
        for name, expires_s in (("old", ROW_S - 1), ("new", ROW_S + 1)):
            connection.execute(
                schema.sessions.insert().values(
                    token_hash=name, site=home, created_s=0, last_seen_s=0, expires_s=expires_s
                )
            )
    assert prune(store, now_s=ROW_S) == 1


def test_a_daily_backup_may_not_be_what_fills_the_disk(tmp_path, monkeypatch):
    """Rows come before copies of them; the refusal says how much is missing, and leaves nothing behind."""
    sqlite = open_store(f"sqlite:///{tmp_path / 's.db'}")
    free = maintenance.shutil.disk_usage(tmp_path)
    monkeypatch.setattr(maintenance.shutil, "disk_usage", lambda _folder: free._replace(free=99 * 2**20))
    with pytest.raises(StoreError, match="99 MiB free, expected 100") as refused:
        backup_and_rotate(sqlite, tmp_path / "kept", keep=2)
    assert refused.value.reason == "full"
    assert list((tmp_path / "kept").iterdir()) == []
    sqlite.close()
