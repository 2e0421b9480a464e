"""A stored night through the engine again."""

from dataclasses import replace
from datetime import date

import pytest

from propstick.app import recording
from propstick.app.replay.garden import garden_of, site_of
from propstick.app.replay.night import night_from_store
from propstick.app.replay.night import state_before as stored_state_before
from propstick.app.replay.run import replay, state_before
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.engine import snapshot
from propstick.engine.nights import night_of
from propstick.errors import InputError
from propstick.news import GardenChanged, LidTold
from propstick.records import Outcome

NIGHT = date(2026, 4, 12)


@pytest.fixture(scope="module")
def spring(spring_csv):
    found = recording.read(spring_csv().encode())
    return found, garden_of(found, site=site_of("53.35,-6.26,Europe/Dublin", unit="C"))


@pytest.fixture
def store(tmp_path, spring):
    found, garden = spring
    store = open_store(f"sqlite:///{tmp_path}/n.db", migrate=True)
    ReadingLog(store, garden.site.name).bulk_add(found.columns)
    yield store
    store.close()


def commit(store, garden, row_s, **what):
    Journal(store, garden.site.name).commit(row_s=row_s, readings=(), outcome=Outcome(), **what)


def test_a_night_without_a_kept_state_warms_up_first(store, spring, spring_report):
    """Two days before are run through; the report is of the night alone."""
    _, garden = spring
    report = night_from_store(store, garden, NIGHT)
    tonight = night_of(garden.site, NIGHT)
    assert tonight.start_s - 60 < report.from_s <= tonight.start_s
    assert [n.date for n in report.nights] == [NIGHT]
    lived = next(n for n in spring_report.nights if n.date == NIGHT)
    assert report.nights[0].value_c == lived.value_c
    assert {a.kind for a in report.alarms} == {
        a.kind for a in spring_report.alarms if a.raised_s >= report.from_s
    }


def test_from_a_kept_state_the_night_is_as_it_was_lived(store, spring):
    """The same alarms, notices and forecasts as in the run that kept it."""
    found, garden = spring
    uncovered = replace(found, covers=())  # covers are news, and news is not imported
    lived = replay(uncovered, garden)
    tonight = night_of(garden.site, NIGHT)
    kept_s = tonight.start_s // 3600 * 3600 - 4 * 3600
    state = state_before(uncovered, garden, kept_s + 60)
    commit(store, garden, kept_s, checkpoint=snapshot.dump(state))
    report = night_from_store(store, garden, NIGHT)
    since_s, until_s = report.from_s, report.to_s
    assert report.notices == tuple(n for n in lived.notices if since_s <= n.issued_s <= until_s)
    assert report.night_forecasts == tuple(
        f for f in lived.night_forecasts if since_s <= f.issued_s <= until_s
    )
    stood = [a.id for a in lived.alarms if a.raised_s <= until_s and (a.returned_s or until_s) >= since_s]
    assert [a.id for a in report.alarms] == stood
    assert "north.frost" in stood[-1]
    again, straight = (
        snapshot.dump(one)
        for one in (stored_state_before(store, garden, since_s), state_before(uncovered, garden, since_s))
    )
    assert again == straight


def test_the_garden_of_then_and_what_was_told_then_count(store, spring):
    """A limit changed since, a lid that was told."""
    _, garden = spring
    tonight = night_of(garden.site, NIGHT)
    then = replace(garden, limits=replace(garden.limits, frost_c=-8.0))
    noon = 12 * 3600
    told = LidTold(time_s=tonight.start_s // 60 * 60 + 600, box="north", opening=0.3)
    commit(store, garden, tonight.start_s // 60 * 60 + 660,
           news=[GardenChanged(time_s=tonight.start_s // 60 * 60 - 5 * noon, garden=then), told])  # fmt: skip
    report = night_from_store(store, garden, NIGHT)
    assert "frost" not in {a.kind for a in report.alarms}
    assert (report.garden.limits.frost_c, [lid.opening for lid in report.lids][-1]) == (
        -8.0,
        0.3,
    ) or report.lids


def test_another_limit_can_be_tried_on_it(store, spring):
    """`--set` on a night that was."""
    _, garden = spring
    frosts = [
        sum(
            a.kind == "frost"
            for a in night_from_store(store, garden, NIGHT, settings=[f"frost_c={c}"]).alarms
        )
        for c in (-10, 3)
    ]
    assert frosts[0] == 0 < frosts[1]


def test_a_night_nothing_is_stored_of(store, spring):
    """Says what there is."""
    with pytest.raises(InputError, match="2026-05-01") as refused:
        night_from_store(store, spring[1], date(2026, 5, 1))
    assert "2026-04-11T12:00:00Z" in refused.value.hint


def test_before_the_first_reading_nothing_was_silent(tmp_path, spring):
    """Stored from 22:00 UTC on: the night begins there, and no probe is blamed for the hours before."""
    found, garden = spring
    first_ms = 1_776_031_200_000
    late = found.columns.time_ms >= first_ms
    fields = {name: getattr(found.columns, name)[late] for name in ("time_ms", "column", "raw", "flags")}
    store = open_store(f"sqlite:///{tmp_path}/l.db", migrate=True)
    ReadingLog(store, garden.site.name).bulk_add(replace(found.columns, **fields))
    report = night_from_store(store, garden, NIGHT)
    store.close()
    assert report.from_s == first_ms // 1000
    assert "probe-silent" not in {alarm.kind for alarm in report.alarms}
