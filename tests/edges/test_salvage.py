"""A damaged file is set aside and never changed; the watch goes on with what can be read of it."""

import numpy as np
import pytest

from propstick.edges import salvage
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.maintenance import quick_check
from propstick.edges.readings import ReadingLog
from propstick.edges.salvage import recover, rescue_readings, set_aside
from propstick.edges.sowings import Sowings
from propstick.errors import StoreError
from propstick.records import Outcome, Reading

ROW_S = 1_770_000_000 // 3600 * 3600
ROWS = 1500


@pytest.fixture
def path(sqlite_store, make_columns):
    """A closed store with a sowing, a checkpoint and 6,000 readings."""
    journal = Journal(sqlite_store, "home")
    Sowings(sqlite_store, "home").add({"crop": "lettuce", "box": "north"}, by="page", at_s=ROW_S)
    values = np.arange(ROWS * 4).reshape(-1, 4) % 997 / 4
    ReadingLog(sqlite_store, "home").bulk_add(make_columns(values, probes=list("abcd"), start_s=ROW_S))
    last_s = ROW_S + 60 * (ROWS - 1)
    journal.commit(row_s=last_s, readings=[], outcome=Outcome(), checkpoint=b"learnt")
    sqlite_store.close()
    return sqlite_store.path


def leaf_in_the_middle(path):
    """Where a page of readings lies, about half way: found by what it holds, not by its number."""
    whole = path.read_bytes()
    middle_ms = (ROW_S + 60 * ROWS // 2) * 1000
    page = whole.index(middle_ms.to_bytes(6, "big")) // 1024
    assert page > 3
    return page * 1024


def test_one_bad_page_costs_its_own_readings(path, store_url):
    """Before and behind it all comes over; sowings, learnt state and progress too."""
    whole = bytearray(path.read_bytes())
    place = leaf_in_the_middle(path)
    whole[place : place + 1024] = b"\xa5" * 1024
    path.write_bytes(whole)
    damaged = open_store(store_url)
    assert quick_check(damaged)
    with pytest.raises(StoreError) as caught:
        ReadingLog(damaged, "home").columns(0, 2**60)
    assert caught.value.reason == "corrupt"
    damaged.close()

    recovered = recover(store_url, now_s=ROW_S)
    journal = Journal(recovered.store, "home")
    assert recovered.broken == ()
    assert [s.crop for s in Sowings(recovered.store, "home").all()] == ["lettuce"]
    assert journal.load_checkpoint() == (ROW_S + 60 * (ROWS - 1), b"learnt")
    # The watch goes on at once, with a probe the old file did not know.
    row_s = journal.last_row() + 60
    readings = [Reading("a", row_s * 1000, 5.0), Reading("new", row_s * 1000, 6.0)]
    journal.commit(row_s=row_s, readings=readings, outcome=Outcome())

    rescued, broken = rescue_readings(recovered)
    assert broken == ("readings",)
    columns = ReadingLog(recovered.store, "home").columns(0, 2**60)
    lost = ROWS * 4 + 2 - len(columns)
    assert 0 < lost <= 2 * salvage._ROWS_AT_ONCE
    assert rescued >= ROWS * 4 - lost
    row = (columns.time_ms // 1000 - ROW_S) // 60
    old = row < ROWS
    assert np.array_equal(columns.raw[old], (row * 4 + columns.column)[old] % 997 / 4)
    assert quick_check(recovered.store) == ""
    recovered.store.close()
    assert recovered.aside.read_bytes() == bytes(whole)


def test_file_of_which_nothing_is_left_still_lets_the_watch_begin(path, store_url):
    """The first page gone: a fresh store, and the old file kept for better tools."""
    path.write_bytes(b"\0" * 4096 + path.read_bytes()[4096:])
    recovered = recover(store_url, now_s=ROW_S)
    assert recovered.rescued == 0
    assert "sowings" in recovered.broken
    assert rescue_readings(recovered) == (0, ("readings", "reading_hours"))
    Journal(recovered.store, "home").commit(row_s=ROW_S, readings=[], outcome=Outcome())
    recovered.store.close()
    assert recovered.aside.stat().st_size > 4096


def test_readings_of_probes_that_were_lost_are_not_given_to_others(path, store_url):
    """A key is only a number: without its name the reading stays in the file set aside."""
    recovered = recover(store_url, now_s=ROW_S)
    only_a = salvage.Recovered(recovered.store, recovered.aside, 0, (), frozenset({1}))
    rescue_readings(only_a)
    columns = ReadingLog(recovered.store, "home").columns(0, 2**60)
    assert set(columns.column.tolist()) == {0}
    assert len(columns) == ROWS
    recovered.store.close()


def test_setting_aside_twice_in_a_second_keeps_both(path, store_url):
    """Never over an earlier one."""
    first = set_aside(store_url, word="damaged", now_s=ROW_S)
    open_store(store_url).close()
    second = set_aside(store_url, word="damaged", now_s=ROW_S)
    assert first != second
    assert first.exists()
    assert second.exists()
    assert not path.exists()


def test_server_is_not_set_aside():
    """Its files are not ours."""
    with pytest.raises(StoreError, match="cannot be set aside"):
        set_aside("postgresql+psycopg://x/y", word="damaged")
