"""A backup comes back, whole or up to a moment, and never over something newer or in use."""

import pytest

from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.lease import this_process
from propstick.edges.maintenance import backup
from propstick.edges.readings import ReadingLog
from propstick.edges.requests import Requests
from propstick.edges.restore import restore
from propstick.edges.sowings import Sowings
from propstick.errors import StoreError
from propstick.news import LidTold
from propstick.records import Outcome, Reading

ROW_S = 1_770_000_000 // 3600 * 3600
NOW_S = ROW_S + 10**6


def live(journal, first, last, **more):
    for k in range(first, last):
        row_s = ROW_S + 600 * k
        journal.commit(row_s=row_s, readings=[Reading("a", row_s * 1000, k / 4)], outcome=Outcome(), **more)


def last_row(url):
    store = open_store(url, create=False)
    row_s = Journal(store, "home").last_row()
    store.close()
    return row_s


@pytest.fixture
def kept(sqlite_store, tmp_path):
    """A backup after ten rows, and a store that has lived ten more."""
    journal = Journal(sqlite_store, "home")
    live(journal, 0, 10)
    path = backup(sqlite_store, tmp_path / "kept.db")
    live(journal, 10, 20)
    sqlite_store.close()
    return path


def test_backup_comes_back_after_a_lost_card(kept, tmp_path):
    """On a new card there is nothing to set aside."""
    url = f"sqlite:///{tmp_path / 'new' / 'store.db'}"
    (tmp_path / "new").mkdir()
    restored = restore(kept, url, now_s=NOW_S)
    assert restored.newest_row_s == last_row(url) == ROW_S + 9 * 600
    assert restored.aside is None
    assert [p.name for p in (tmp_path / "new").iterdir()] == ["store.db"]


def test_newer_store_is_not_replaced_unasked(kept, store_url):
    """Told what would be lost; with force it is set aside, not lost."""
    with pytest.raises(StoreError, match="has rows until") as caught:
        restore(kept, store_url, now_s=NOW_S)
    assert caught.value.reason == "newer"
    assert last_row(store_url) == ROW_S + 19 * 600
    restored = restore(kept, store_url, now_s=NOW_S, force=True)
    assert last_row(store_url) == ROW_S + 9 * 600
    assert last_row(f"sqlite:///{restored.aside}") == ROW_S + 19 * 600


def test_store_in_use_is_not_replaced(kept, store_url):
    """Force or not: the watch would go on writing into the file set aside."""
    store = open_store(store_url)
    journal = Journal(store, "home")
    journal.take_lease(this_process(), NOW_S, 180)
    with pytest.raises(StoreError, match="a watch is running"):
        restore(kept, store_url, now_s=NOW_S + 60, force=True)
    journal.lease.release()
    store.close()
    restore(kept, store_url, now_s=NOW_S + 60, force=True)


@pytest.mark.parametrize("spoil", ["cut", "text", "none", "foreign"])
def test_backup_that_is_no_good_changes_nothing(kept, store_url, tmp_path, spoil):
    """Found before the store is touched."""
    if spoil == "cut":
        kept.write_bytes(kept.read_bytes()[:20_000])
    elif spoil == "text":
        kept.write_text("not a backup" * 1000)
    elif spoil == "foreign":
        kept = tmp_path / "empty.db"
        kept.touch()
    else:
        kept.unlink()
    with pytest.raises(StoreError):
        restore(kept, store_url, now_s=NOW_S, force=True)
    assert last_row(store_url) == ROW_S + 19 * 600
    assert not list(tmp_path.glob("*.restoring*"))


def test_damaged_store_is_replaced_and_kept_aside(kept, store_url, tmp_path):
    """That is what a backup is for."""
    path = tmp_path / "store.db"
    path.write_bytes(b"garbage" * 5000)
    restored = restore(kept, store_url, now_s=NOW_S)
    assert restored.aside.read_bytes().startswith(b"garbage")
    assert last_row(store_url) == ROW_S + 9 * 600


def test_restore_to_a_moment_is_the_store_of_that_moment(sqlite_store, tmp_path, make_change, make_notice):
    """A store that lived on, cut back, holds what a store holds that never lived on."""
    journal, sowings, requests = (kind(sqlite_store, "home") for kind in (Journal, Sowings, Requests))
    alarm_s = ROW_S + 600
    live(journal, 0, 1, status={"a": 1})
    standing = sowings.add({"crop": "lettuce", "box": "north", "sown": "2026-02-01"}, by="page", at_s=ROW_S)
    asked = requests.add("watered", {}, by="page", made_s=ROW_S)
    first = Outcome(changes=(make_change(alarm_s),), notices=(make_notice(alarm_s),))
    journal.commit(
        row_s=alarm_s, readings=[], outcome=first, route=lambda _: ("phone",), checkpoint=b"then",
        news=[LidTold(time_s=alarm_s, box="north", opening=0.1)],
    )  # fmt: skip
    live(journal, 2, 4)
    until_s = ROW_S + 4 * 600 - 1
    then = (
        journal.open_alarms(), journal.notices(0, 2**40), journal.news_between(0, 2**40), sowings.all(),
        ReadingLog(sqlite_store, "home").columns(0, 2**60).raw.tolist(), requests.pending(),
    )  # fmt: skip

    live(journal, 4, 20, requests_done=[asked])
    gone_s = ROW_S + 20 * 600
    over = make_change(alarm_s, event="returned", at_s=gone_s, state="normal", returned_s=gone_s)
    later = Outcome(
        changes=(over, make_change(gone_s)),
        notices=(make_notice(gone_s, id="later"),),
    )
    journal.commit(
        row_s=gone_s, readings=[], outcome=later, route=lambda _: ("phone",), checkpoint=b"later",
        news=[LidTold(time_s=gone_s, box="north", opening=1.0)],
    )  # fmt: skip
    sowings.change(standing.id, {"first_up": "2026-02-09", "note": "thin"}, by="page", at_s=gone_s)
    sowings.add({"crop": "radish", "box": "north"}, by="page", at_s=gone_s)
    path = backup(sqlite_store, tmp_path / "kept.db")

    url = f"sqlite:///{tmp_path / 'then.db'}"
    restore(path, url, now_s=NOW_S, until_s=until_s)
    store = open_store(url, create=False)
    journal, sowings, requests = (kind(store, "home") for kind in (Journal, Sowings, Requests))
    log = ReadingLog(store, "home")
    assert then == (
        journal.open_alarms(), journal.notices(0, 2**40), journal.news_between(0, 2**40), sowings.all(),
        log.columns(0, 2**60).raw.tolist(), requests.pending(),
    )  # fmt: skip
    assert journal.last_row() == until_s // 60 * 60
    assert journal.load_checkpoint() == (alarm_s, b"then")
    assert len(journal.changes(0, 2**40)) == 1
    assert [o.notice.id for o in journal.outbox.undelivered()] == [n.id for n in then[1]]
    assert len(sowings.history(standing.id)) == 1
    assert log.history(["a"], ROW_S * 1000, (ROW_S + 36_000) * 1000, 10).count.sum() == len(then[4])
    store.close()


def test_backup_moves_to_a_server(kept, postgresql_url, postgresql_store):
    """Growing past one machine: into an empty database, and numbering goes on after the last."""
    with pytest.raises(StoreError, match="no such file"):
        restore(kept.with_name("none.db"), postgresql_url, now_s=NOW_S)
    restored = restore(kept, postgresql_url, now_s=NOW_S)
    assert restored.newest_row_s == ROW_S + 9 * 600
    assert ReadingLog(postgresql_store, "home").count() == 10
    live(Journal(postgresql_store, "home"), 10, 12)
    assert postgresql_store.site("another") > postgresql_store.site("home")
    with pytest.raises(StoreError, match="holds sites already"):
        restore(kept, postgresql_url, now_s=NOW_S)
