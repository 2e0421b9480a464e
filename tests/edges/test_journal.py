"""A row is on the disk whole or not at all, and saying it twice changes nothing."""

import datetime
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import func, insert, select

from propstick.edges import schema
from propstick.edges.database import open_store
from propstick.edges.journal import CHECKPOINT_DAYS, Committed, Journal, _kept_checkpoints
from propstick.edges.readings import ReadingLog
from propstick.edges.requests import Requests
from propstick.errors import StoreError
from propstick.garden import Box, Garden, Probe, Site
from propstick.limits import Limits
from propstick.news import Acknowledged, CoverTold, GardenChanged, LidTold, Trouble
from propstick.records import (
    Brief,
    BriefLine,
    DayForecast,
    HeatForecast,
    LidOpening,
    NightForecast,
    Outcome,
    Reading,
)

ROW_S = 1_770_000_000 // 3600 * 3600
TO_S = 2**40


@pytest.fixture
def journal(store):
    return Journal(store, "home")


def to_phone(_notice):
    return ("phone",)


def everything(make_change, make_notice):
    """An outcome with one of each."""
    night = datetime.date(2026, 2, 1)
    return Outcome(
        changes=(make_change(ROW_S),),
        notices=(make_notice(ROW_S),),
        briefs=(
            Brief(
                issued_s=ROW_S, which="evening", date=night, text="Cover north.",
                lines=(BriefLine(box="north", advice="cover", reason="clear and still", by_s=ROW_S + 3600),),
            ),
        ),
        heat=(HeatForecast(box="north", issued_s=ROW_S, limit_c=27.0, p20=0.123, p30=0.5, p60=1.0),),
        nights=(
            NightForecast(
                box="north", night=night, issued_s=ROW_S, min_c=-1.25, low_c=-3.0, high_c=0.5, p_frost=0.875,
                method="box",
            ),
        ),
        days=(
            DayForecast(
                box="north", day=night, issued_s=ROW_S, lid="closed", max_c=41.5, low_c=38.0, high_c=44.0,
                method="box",
            ),
            DayForecast(
                box="north", day=night, issued_s=ROW_S, lid="open", max_c=14.5, low_c=12.0, high_c=17.0,
                method="plain",
            ),
        ),
        lids=(LidOpening(box="north", time_s=ROW_S, opening=0.1, known_from="told"),),
    )  # fmt: skip


def test_all_that_was_said_comes_back(journal, make_change, make_notice):
    """Records as they were issued; alarms as the objects of the external contract."""
    outcome = everything(make_change, make_notice)
    journal.commit(row_s=ROW_S, readings=[], outcome=outcome, route=to_phone)
    assert journal.last_row() == ROW_S
    assert journal.open_alarms() == [outcome.changes[0].alarm.to_json()]
    assert journal.alarm(outcome.changes[0].alarm.id) == outcome.changes[0].alarm.to_json()
    assert journal.notices(ROW_S, ROW_S + 1) == outcome.notices
    assert journal.briefs(ROW_S, ROW_S + 1) == outcome.briefs
    for kind in ("heat", "nights", "lids"):
        assert journal.issued(kind, ROW_S, ROW_S + 1) == getattr(outcome, kind), kind
    assert set(journal.issued("days", ROW_S, ROW_S + 1)) == set(outcome.days)
    assert journal.issued("nights", 0, ROW_S) == journal.issued("nights", ROW_S + 1, TO_S) == ()


def test_rerun_after_a_crash_says_nothing_twice(journal, make_change, make_notice):
    """The same row again: no second alarm, notice or way to a channel."""
    work = {
        "row_s": ROW_S,
        "readings": [Reading("a", ROW_S * 1000, 21.5)],
        "outcome": everything(make_change, make_notice),
        "route": lambda _notice: ("phone", "mail"),
        "news": [LidTold(time_s=ROW_S, box="north", opening=0.1)],
    }
    assert journal.commit(**work) == Committed(stored=1, dropped=0)
    journal.outbox.delivered(work["outcome"].notices[0].id, "phone", ROW_S + 1)
    work["route"] = lambda _notice: ("phone", "mail", "new")
    assert journal.commit(**work) == Committed(stored=0, dropped=1)
    assert len(journal.changes(0, TO_S)) == len(journal.notices(0, TO_S)) == 1
    assert journal.news_between(0, TO_S) == work["news"]
    assert len(journal.issued("days", 0, TO_S)) == 2
    assert [o.channel for o in journal.outbox.waiting(TO_S)] == ["mail"]


def test_late_rerun_does_not_put_an_alarm_back(journal, make_change):
    """Raised again by a rerun, an alarm that has been acknowledged since stays so."""
    raised = Outcome(changes=(make_change(ROW_S),))
    journal.commit(row_s=ROW_S, readings=[], outcome=raised)
    seen = make_change(ROW_S, event="acknowledged", at_s=ROW_S + 60, state="acknowledged")
    journal.commit(row_s=ROW_S + 60, readings=[], outcome=Outcome(changes=(seen,)))
    journal.commit(row_s=ROW_S, readings=[], outcome=raised)
    assert [alarm["state"] for alarm in journal.open_alarms()] == ["acknowledged"]
    assert journal.last_row() == ROW_S + 60
    assert [c["event"] for c in journal.changes(0, TO_S)] == ["raised", "acknowledged"]


def test_alarm_that_is_over_is_no_longer_open_but_found(journal, make_change):
    """`alarms` gives every one that stood in the time asked for."""
    journal.commit(row_s=ROW_S, readings=[], outcome=Outcome(changes=(make_change(ROW_S),)))
    over = make_change(ROW_S, event="returned", at_s=ROW_S + 600, state="normal", returned_s=ROW_S + 600)
    journal.commit(row_s=ROW_S + 600, readings=[], outcome=Outcome(changes=(over,)))
    assert journal.open_alarms() == []
    assert [a["id"] for a in journal.alarms(ROW_S + 300, ROW_S + 400)] == [over.alarm.id]
    assert journal.alarms(ROW_S + 601, TO_S) == journal.alarms(0, ROW_S) == []


def test_row_that_cannot_be_stored_leaves_nothing(journal, store, make_change, make_notice):
    """A fault in the last thing written takes the first back: readings, alarm and progress."""
    outcome = everything(make_change, make_notice)
    readings = [Reading("never seen before", ROW_S * 1000, 1.0)]
    with pytest.raises(TypeError):
        journal.commit(row_s=ROW_S, readings=readings, outcome=outcome, news=[object()])
    assert journal.last_row() is None
    assert journal.open_alarms() == []
    assert ReadingLog(store, "home").count() == 0
    # The probe's key was taken back too; a key remembered in memory would now belong to nobody.
    journal.commit(row_s=ROW_S, readings=readings, outcome=outcome)
    assert ReadingLog(store, "home").columns(0, 2**60).probes == ("never seen before",)
    assert len(ReadingLog(store, "home").columns(0, 2**60)) == 1


def test_news_comes_back_to_the_last_bit_in_its_order(journal):
    """Of the rows asked for, both ends included; the garden whole."""
    garden = Garden(
        site=Site(name="home", latitude=52.1, longitude=0.1, zone="Europe/London"),
        boxes=(Box(name="north", limits=Limits(heat_c=26.1 + 1e-15)),),
        probes=(Probe(id="28-1", box="north", place="air", correction_c=-0.0625),),
    )
    news = [
        GardenChanged(time_s=ROW_S, garden=garden),
        Trouble(time_s=ROW_S, kind="push-trouble", active=True, detail="no network"),
        CoverTold(time_s=ROW_S, box="north", on=True),
        Acknowledged(time_s=ROW_S, alarm_id="x"),
    ]
    journal.commit(row_s=ROW_S, readings=[], outcome=Outcome(), news=news)
    later = LidTold(time_s=ROW_S + 60, box="north", opening=None)
    journal.commit(row_s=ROW_S + 60, readings=[], outcome=Outcome(), news=[later])
    assert journal.news_between(ROW_S, ROW_S) == news
    assert journal.news_between(ROW_S + 1, TO_S) == [later]
    assert journal.news_between(ROW_S, ROW_S + 60) == [*news, later]
    assert journal.news_between(ROW_S, ROW_S + 60, kinds=(LidTold, GardenChanged)) == [news[0], later]


def test_requests_are_taken_with_the_row_that_answers_them(journal, store):
    """Taken in the same transaction as their news: never lost between, never done twice."""
    requests = Requests(store, "home")
    asked = requests.add("lid", {"box": "north", "opening": 0.3}, by="page", made_s=ROW_S - 5)
    with pytest.raises(TypeError):
        journal.commit(row_s=ROW_S, readings=[], outcome=Outcome(), news=[object()], requests_done=[asked])
    assert [r.id for r in requests.pending()] == [asked]
    journal.commit(row_s=ROW_S, readings=[], outcome=Outcome(), requests_done=[asked])
    assert requests.pending() == []
    assert requests.get(asked).taken_row_s == ROW_S


def test_status_is_the_newest_rows(journal):
    """A row without one leaves the last."""
    assert journal.status() is None
    journal.commit(row_s=ROW_S, readings=[], outcome=Outcome(), status={"boxes": ["n\u00f6rth"], "age": None})
    journal.commit(row_s=ROW_S + 60, readings=[], outcome=Outcome())
    assert journal.status() == {"boxes": ["n\u00f6rth"], "age": None}


def test_newest_checkpoint_is_loaded_or_one_before_a_night(journal):
    """Bytes as they were; of the last days one each stays, for a night to be replayed as lived."""
    assert journal.load_checkpoint() is None
    for hour in range(0, 24 * 16, 12):
        row_s = ROW_S + hour * 3600
        journal.commit(row_s=row_s, readings=[], outcome=Outcome(), checkpoint=bytes([hour % 256, 0, 255]))
    assert journal.load_checkpoint() == (row_s, bytes([hour % 256, 0, 255]))
    night_s = ROW_S + 10 * 86_400
    found_s, _ = journal.load_checkpoint(until_s=night_s)
    assert night_s - 86_400 <= found_s <= night_s
    assert journal.load_checkpoint(until_s=ROW_S + 86_400) is None


def test_kept_checkpoints_are_few():
    """Hourly for two months: the two newest, and one a day for a fortnight."""
    rows = [hour * 3600 for hour in range(60 * 24)]
    kept = _kept_checkpoints(rows)
    assert rows[-1] in kept
    assert rows[-2] in kept
    assert len(kept) == CHECKPOINT_DAYS + 2


@pytest.mark.parametrize("bad", [float("nan"), None])
def test_forecast_without_a_figure_is_stored_as_none(journal, bad):
    """Not knowing is kept as not knowing."""
    night = NightForecast(
        box="north", night=datetime.date(2026, 2, 1), issued_s=ROW_S, min_c=float("nan"), low_c=-3.0,
        high_c=0.5, p_frost=bad,
    )  # fmt: skip
    journal.commit(row_s=ROW_S, readings=[], outcome=Outcome(nights=(night,)))
    (found,) = journal.issued("nights", 0, TO_S)
    assert np.isnan(found.min_c)
    assert found.p_frost is None
    assert found.low_c == -3.0


def test_a_steady_row_changes_few_pages(sqlite_store):
    """What the card is spared: pages in the log per row of 16 readings, with the live view."""
    journal = Journal(sqlite_store, "home")
    status = {"boxes": [{"box": f"box-{k}", "air": 20 + k / 7, "soil": 11 + k / 3} for k in range(8)]}

    def rows(first, last):
        for k in range(first, last):
            readings = [Reading(f"28-{p}", (ROW_S + 60 * k) * 1000, 20 + (k * p % 9) / 16) for p in range(16)]
            journal.commit(row_s=ROW_S + 60 * k, readings=readings, outcome=Outcome(), status=status)

    def frames():
        with sqlite_store.read() as connection:
            return connection.exec_driver_sql("PRAGMA wal_checkpoint(PASSIVE)").one()[1]

    rows(0, 60)
    with sqlite_store.read() as connection:
        connection.exec_driver_sql("PRAGMA wal_autocheckpoint=0")
    assert frames() > 0  # all of it is in the file now, and the log begins anew
    rows(61, 121)
    per_row = frames() / 60
    assert 0 < per_row * 1048 < 8 * 1024, per_row


WRITER = """
import sys
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.records import Alarm, AlarmChange, Notice, Outcome, Reading

journal = Journal(open_store(sys.argv[1]), "home")
row_s = (journal.last_row() or 1_770_000_000 - 1_770_000_000 % 60 - 60) + 60
for row_s in range(row_s, row_s + 60 * 100_000, 60):
    alarm = Alarm(id=f"north.heat.{row_s}", box="north", kind="heat", state="unacknowledged",
                  raised_s=row_s, begun_s=row_s)
    notice = Notice(id=f"{row_s}", issued_s=row_s, boxes=("north",), kinds=("heat",), text="Open north")
    journal.commit(
        row_s=row_s, readings=[Reading(f"28-{k}", row_s * 1000, k / 2) for k in range(16)],
        outcome=Outcome(changes=(AlarmChange(row_s, "raised", alarm),), notices=(notice,)),
        route=lambda _: ("phone",), checkpoint=b"x" * 3000 if row_s % 600 == 0 else None,
        status={"row": row_s},
    )
    print(row_s, flush=True)
"""


@pytest.mark.slow
def test_killed_writer_loses_and_doubles_nothing(store_url):
    """kill -9 at moments of chance: every row it said was done is there, whole, once; then it goes on."""
    rng = np.random.default_rng(11)
    done_s = 0
    for _ in range(5):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, store_url], stdout=subprocess.PIPE, text=True, bufsize=1
        )
        for _ in range(int(rng.integers(1, 60))):
            done_s = int(writer.stdout.readline())
        os.kill(writer.pid, signal.SIGKILL)
        rest = re.findall(r"(\d+)\n", writer.communicate()[0])
        done_s = int(rest[-1]) if rest else done_s
        store = open_store(store_url)
        journal = Journal(store, "home")
        last_s = journal.last_row()
        assert last_s in (done_s, done_s + 60)
        columns = ReadingLog(store, "home").columns(0, 2**60)
        rows = (last_s - int(columns.time_ms[0]) // 1000) // 60 + 1
        assert len(columns) == rows * 16
        assert len(np.unique(columns.time_ms)) == rows
        assert len(journal.open_alarms()) == len(journal.outbox.undelivered()) == rows
        assert journal.status() == {"row": last_s}
        store.close()


def test_watch_that_lost_its_lease_writes_no_more(store):
    """It slept too long; another machine has taken over its site."""
    slept, other = Journal(store, "home"), Journal(store, "home")
    slept.take_lease("one 1", ROW_S, 180)
    slept.commit(row_s=ROW_S, readings=[], outcome=Outcome())
    other.take_lease("two 1", ROW_S + 181, 180)
    with pytest.raises(StoreError, match="taken over") as caught:
        slept.commit(row_s=ROW_S + 60, readings=[Reading("a", 1, 1.0)], outcome=Outcome())
    assert caught.value.reason == "leased"
    assert other.last_row() == ROW_S


def test_store_file_holds_no_page_of_another_name(store_url):
    """The path in the address is the file: nothing else is made beside it but SQLite's own log."""
    opened = open_store(store_url)
    Journal(opened, "home").commit(row_s=ROW_S, readings=[], outcome=Outcome())
    opened.close()
    folder = Path(store_url.removeprefix("sqlite:///")).parent
    assert sorted(path.name for path in folder.iterdir()) == ["store.db"]


def test_news_of_a_kind_that_only_a_later_release_knows_is_passed_over(journal, store):
    """After a rollback: the row stays, and what is known is read."""
    known = LidTold(time_s=ROW_S, box="north", opening=0.1)
    journal.commit(row_s=ROW_S, readings=[], outcome=Outcome(), news=[known])
    with store.write() as connection:
        row = dict(connection.execute(select(schema.news)).mappings().one())
        del row["id"]
        row |= {"kind": "SnowTold", "digest": "x", "body": '{"":"SnowTold"}'}
        connection.execute(insert(schema.news).values(**row))
    assert journal.news_between(0, TO_S) == [known]
    with store.read() as connection:
        assert connection.scalar(select(func.count()).select_from(schema.news)) == 2
