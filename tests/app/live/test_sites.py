"""Several sites in one daemon: one store among them, all or none, and waiting for another watch to end."""

import threading
from contextlib import closing
from dataclasses import replace

import pytest
from tests.servers import NotInstalled, postgresql

from propstick.app.garden_file.settings import OneWireSettings, Settings, StoreSettings
from propstick.app.live import housekeeping, wiring
from propstick.app.live.sites import STANDBY_S, assemble_all, run_all
from propstick.edges.clock import SystemClock
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.requests import Requests
from propstick.errors import StoreError
from propstick.garden import Box, Garden, Probe, Site
from propstick.testing import FakeBus, HandClock

NOON_S = 1_790_251_200
ELSEWHERE = "elsewhere 0 1 1"


@pytest.fixture
def url(tmp_path):
    return f"sqlite:///{tmp_path / 'w.db'}"


@pytest.fixture
def sites(tmp_path, url):
    return [
        Settings(
            garden=Garden(
                site=Site(name=name),
                boxes=(Box(name="north"),),
                probes=(Probe(id="a", box="north", place="air"),),
            ),
            store=StoreSettings(url=url),
            onewire=OneWireSettings(tree=tmp_path / "none"),
            path=tmp_path / f"{name}.toml",
        )
        for name in ("east", "west")
    ]


def owners_are_free(url):
    with closing(open_store(url)) as store:
        for site in ("east", "west"):
            Journal(store, site).take_lease(f"another {site}", NOON_S)


def test_sites_of_one_database_share_its_connections(sites):
    first, second = assemble_all(sites, clock=HandClock(NOON_S))
    assert first.store is second.store
    for _ in range(2):
        for assembly in (first, second):
            assembly.watch.do_row(assembly.watch._rows.next_row())
    first.close()
    second.watch.do_row(second.watch._rows.next_row())
    second.close()
    second.common.close()


def test_a_dozen_sites_are_run_in_a_few_threads_and_leave_nothing_taken(sites, url, tmp_path):
    """Each has its first row stored, its checkpoint written and its lease given back."""
    names = [f"plot{k}" for k in range(12)]
    many = [
        replace(
            sites[0], garden=replace(sites[0].garden, site=Site(name=name)), path=tmp_path / f"{name}.toml"
        )
        for name in names
    ]
    clock, threads = SystemClock(), []

    def once(*_):
        threads.append(threading.active_count())
        clock.wake()

    before = threading.active_count()
    run_all(assemble_all(many, clock=clock, on_row=[once]))
    assert len(threads) == 12
    assert max(threads) - before < 3 * 12
    with closing(open_store(url)) as store:
        for name in names:
            journal = Journal(store, name)
            assert journal.last_row() is not None
            assert journal.load_checkpoint()[0] == journal.last_row()
            journal.take_lease(f"another {name}", int(clock.wall_s()))


def test_one_site_that_fails_takes_all_down_with_its_own_words(sites, url):
    """So that the service manager starts all anew; no lease is left taken."""
    clock = SystemClock()

    def fail(*_):
        raise RuntimeError("planted")

    with pytest.raises(RuntimeError, match="planted"):
        run_all(assemble_all(sites, clock=clock, on_row=[fail]))
    with closing(open_store(url)) as store:
        for site in ("east", "west"):
            Journal(store, site).take_lease(f"another {site}", int(clock.wall_s()))


def test_a_wire_that_hangs_does_not_keep_the_neighbours_waiting(sites, monkeypatch):
    """The site on wires has a thread of its own; the others' rows are stored meanwhile."""
    clock, hanging, rows = SystemClock(), threading.Event(), []

    def listen(row_s, state, *_):
        rows.append(state.garden.site.name)
        if len(rows) == 2:
            hanging.set()
        if len(rows) == 3:
            clock.wake()

    def buses(tree):
        wire = FakeBus(values={"a": 4.0})
        wire.hangs = hanging
        return [wire] if tree == "wired" else []

    monkeypatch.setattr(wiring, "find_buses", buses)
    wired = replace(sites[0], onewire=OneWireSettings(tree="wired"))
    third = replace(sites[1], garden=replace(sites[1].garden, site=Site(name="north")))
    run_all(assemble_all([wired, sites[1], third], clock=clock, on_row=[listen]))
    assert sorted(rows[:2]) == ["north", "west"]
    assert rows[2:] == ["east"]


def test_a_site_among_many_takes_up_what_was_asked_for_before_its_row(sites, url):
    """Asked once for all sites; each is given its own."""
    clock = HandClock(NOON_S)
    first, second = assemble_all(sites, clock=clock)
    for assembly in (first, second):
        assembly.watch.do_row(assembly.watch._rows.next_row())
    asked = Requests(second.store, "west").add("lid", {"box": "north", "opening": 0.5}, by="page")
    for assembly in (first, second):
        assembly.watch.do_row(assembly.watch._rows.next_row())
    assert Requests(second.store, "west").get(asked).taken_row_s == NOON_S + 60
    for assembly in (first, second):
        assembly.close()
    second.common.close()


@pytest.mark.slow
def test_a_database_server_that_goes_away_costs_no_row_and_does_not_end_the_watch(sites):
    """Rows wait in memory while it is stopped, and are stored when it is back."""
    pytest.importorskip("psycopg", reason="psycopg is not installed (extra `postgres`)")
    try:
        with postgresql() as database:
            sites = [replace(one, store=StoreSettings(url=database.url)) for one in sites]
            (assembly,) = assemble_all(sites[:1], clock=HandClock(NOON_S))
            watch = assembly.watch
            watch.do_row(watch._rows.next_row())
            with database.stopped():
                for _ in range(3):
                    watch.do_row(watch._rows.next_row())
                assert len(watch._backlog) == 3
            watch.do_row(watch._rows.next_row())
            assert not watch._backlog
            assert assembly.journal.last_row() == NOON_S + 4 * 60
            assembly.close()
    except NotInstalled as missing:
        pytest.skip(str(missing))


def test_a_site_that_is_held_refuses_all_and_leaves_none_taken(sites, url):
    """The daemon starts whole or not at all; whoever comes next finds the first site free."""
    with closing(open_store(url)) as store:
        west = Journal(store, "west")
        west.take_lease(ELSEWHERE, NOON_S)
        with pytest.raises(StoreError, match="another watch"):
            assemble_all(sites, clock=HandClock(NOON_S))
        west.lease.release()
    owners_are_free(url)


def test_one_in_waiting_takes_over_when_the_lease_has_run_out(sites, url):
    """And not before: three minutes after the other's last row, at a look every few seconds."""
    with closing(open_store(url)) as store:
        Journal(store, "west").take_lease(ELSEWHERE, NOON_S, 180)
    clock, looks = HandClock(NOON_S), []
    assemblies = assemble_all(sites, clock=clock, waiting=lambda: looks.append(clock.wall_s()))
    assert [a.watch.state.garden.site.name for a in assemblies] == ["east", "west"]
    assert NOON_S + 180 - STANDBY_S <= looks[-1] <= NOON_S + 180
    for assembly in assemblies:
        assembly.close()


def test_one_in_waiting_stops_when_told_to(sites, url):
    """It leaves nothing taken behind."""
    with closing(open_store(url)) as store:
        west = Journal(store, "west")
        west.take_lease(ELSEWHERE, NOON_S, 180)
        clock = HandClock(NOON_S)
        assert assemble_all(sites, clock=clock, waiting=clock.wake) == ()
        west.lease.release()
    owners_are_free(url)


def test_leases_taken_first_do_not_run_out_while_the_rest_is_put_together(sites, url):
    """The second site is free after eight minutes only, the third after that; the first is still ours."""
    third = replace(sites[1], garden=replace(sites[1].garden, site=Site(name="zest")))
    with closing(open_store(url)) as store:
        Journal(store, "west").take_lease(ELSEWHERE, NOON_S, 500)
        clock = HandClock(NOON_S)
        assemblies = assemble_all([*sites, third], clock=clock, waiting=lambda: None)
        assert clock.wall_s() >= NOON_S + 497
        with pytest.raises(StoreError, match="another watch"):
            Journal(store, "east").take_lease(ELSEWHERE, int(clock.wall_s()))
    for assembly in assemblies:
        assembly.close()
    assemblies[0].common.close()


def test_one_that_waited_for_its_place_still_hears_of_its_chores(sites, url, monkeypatch):
    """Each look at a site that is taken puts its parts together anew; the calendar must be the last ones'."""
    with closing(open_store(url)) as store:
        Journal(store, "west").take_lease(ELSEWHERE, NOON_S, 60)
        assemblies = assemble_all(sites, clock=HandClock(NOON_S), waiting=lambda: None)
    monkeypatch.setattr(housekeeping, "FREE_MIB_AT_LEAST", 10**9)
    for assembly in assemblies:
        assembly.housekeeping.start()
    jobs = {job.id: job.func for job in assemblies[0].common.calendar._scheduler.get_jobs()}
    for site, assembly in zip(("east", "west"), assemblies, strict=True):
        assert jobs[f"disk {site}"].__self__ is assembly.housekeeping
        assembly.close()
    assemblies[0].common.close()
