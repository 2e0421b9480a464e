"""One watch a site: two are refused, a dead one is followed at once, a lost one stops."""

import os
import socket
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest

from propstick.edges.journal import Journal
from propstick.edges.lease import _is_gone, living_owners, this_process
from propstick.errors import StoreError

NOW_S = 1_770_000_000


def test_second_watch_is_refused_while_the_first_lives(store):
    """Named: until when, and what to do."""
    Journal(store, "home").take_lease(this_process(), NOW_S, 180)
    with pytest.raises(StoreError, match="another watch holds this site until 2026-") as caught:
        Journal(store, "home").take_lease("elsewhere 1 2 3", NOW_S + 179, 180)
    assert caught.value.reason == "leased"
    Journal(store, "plot").take_lease("elsewhere 1 2 3", NOW_S, 180)


def test_lease_is_kept_by_renewing_and_ends_by_itself(store):
    """Another machine follows when it has run out."""
    first, second = Journal(store, "home"), Journal(store, "home")
    first.take_lease("one", NOW_S, 180)
    first.take_lease("one", NOW_S + 120, 180)
    with pytest.raises(StoreError):
        second.take_lease("two", NOW_S + 290, 180)
    second.take_lease("two", NOW_S + 301, 180)


def test_of_many_that_come_at_once_one_gets_the_site(store):
    """Machines that start together after a power cut; so too when a lease has just run out."""
    daemons = 6
    for round_, now_s in enumerate((NOW_S, NOW_S + 181)):
        journals, barrier = [Journal(store, "home") for _ in range(daemons)], Barrier(daemons)

        def takes(k, now_s=now_s, journals=journals, barrier=barrier, round_=round_):
            barrier.wait()
            try:
                journals[k].take_lease(f"{round_} {k}", now_s, 180)
            except StoreError as error:
                return error.reason
            return "taken"

        with ThreadPoolExecutor(daemons) as pool:
            found = list(pool.map(takes, range(daemons)))
        assert sorted(found) == ["leased"] * (daemons - 1) + ["taken"]


def test_a_row_under_way_is_not_overtaken(store):
    """The lease has run out, but its watch is in the middle of a commit that makes it last: it stays."""
    slow, other = Journal(store, "home"), Journal(store, "home")
    slow.take_lease("slow", NOW_S, 180)
    with ThreadPoolExecutor(1) as pool:
        with store.write() as connection:
            slow.lease.hold(connection, NOW_S + 400)
            taking = pool.submit(other.take_lease, "other", NOW_S + 181, 180)
            with pytest.raises(TimeoutError):
                taking.result(timeout=0.2)
        with pytest.raises(StoreError) as caught:
            taking.result(timeout=20)
    assert caught.value.reason == "leased"


def test_released_lease_is_free(store):
    """A clean stop makes room; giving back what one no longer holds does no harm."""
    first, second = Journal(store, "home"), Journal(store, "home")
    first.take_lease("one", NOW_S, 180)
    first.lease.release()
    second.take_lease("two", NOW_S, 180)
    first.lease.release()
    assert living_owners(store, NOW_S) == ["two"]


def test_dead_process_of_this_machine_is_followed_at_once(store):
    """After kill -9 or a power cut nobody waits three minutes for the lease to run out."""
    gone = f"{socket.gethostname()} another-boot {os.getpid()} 1"
    Journal(store, "home").take_lease(gone, NOW_S, 180)
    assert living_owners(store, NOW_S) == []
    Journal(store, "home").take_lease(this_process(), NOW_S + 1, 180)
    assert living_owners(store, NOW_S) == [this_process()]


def test_clock_set_back_does_not_lock_the_site_for_years(store):
    """A lease far longer than any lease was taken by a clock that ran ahead."""
    Journal(store, "home").take_lease("one", NOW_S + 10**8, 180)
    Journal(store, "home").take_lease("two", NOW_S, 180)


def test_a_process_is_known_by_more_than_its_number():
    """Numbers are used again: host, boot and moment of start belong to the name."""
    host, boot, pid, started = this_process().split(" ")
    assert not _is_gone(this_process())
    assert _is_gone(f"{host} {boot} {pid} {int(started) + 1}")
    assert _is_gone(f"{host} {boot} {2**22 + 1} {started}")
    assert not _is_gone(f"elsewhere {boot} {pid} 1")
    assert not _is_gone("any other name")
