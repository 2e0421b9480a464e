"""The row clock: rows only ever go forward, whatever is done to the wall clock."""

import itertools

import pytest

from propstick.app.live.rowclock import RELEASED_S, BelievedTime, RowClock
from propstick.testing import HandClock

NOON_S = 1_790_000_040 // 60 * 60


def rows(clock, count, *, last_row_s=None, step_s=60):
    row_clock = RowClock(clock, step_s=step_s, last_row_s=last_row_s)
    return [row_clock.next_row() for _ in range(count)]


def test_rows_lie_on_the_grid_and_follow_each_other():
    """Started half way through a minute, it does that minute at once and then each one on its mark."""
    clock = HandClock(NOON_S + 31.5)
    found = rows(clock, 4)
    assert [row.time_s - NOON_S for row in found] == [0, 60, 120, 180]
    assert all(row.is_set and not row.skipped and not row.behind_s for row in found)
    assert clock.wall_s() == pytest.approx(NOON_S + 180)


def test_a_stall_skips_rows_and_says_how_many():
    clock = HandClock(NOON_S)
    row_clock = RowClock(clock, step_s=60, last_row_s=None)
    row_clock.next_row()
    clock.advance(600)
    late = row_clock.next_row()
    assert (late.time_s - NOON_S, late.skipped) == (600, 9)
    assert row_clock.next_row().time_s - NOON_S == 660


def test_a_clock_set_forward_is_followed_within_one_step():
    clock = HandClock(NOON_S)
    row_clock = RowClock(clock, step_s=60, last_row_s=None)
    row_clock.next_row()
    clock.plan_setting(after_s=5, by_s=3600)
    row = row_clock.next_row()
    assert row.time_s == NOON_S + 3660
    assert row.skipped == 60


def test_a_clock_set_back_never_stops_the_rows_and_is_caught_up():
    """An hour back: no row is done twice, none is late by more than a quarter step, and it ends even."""
    clock = HandClock(NOON_S)
    row_clock = RowClock(clock, step_s=60, last_row_s=None)
    found = [row_clock.next_row()]
    clock.set_wall(NOON_S - 3600)
    at = [clock.monotonic_s()]
    while len(found) < 400:
        found.append(row_clock.next_row())
        at.append(clock.monotonic_s())
    times = [row.time_s for row in found]
    assert all(later - earlier == 60 for earlier, later in itertools.pairwise(times))
    assert max(b - a for a, b in itertools.pairwise(at)) <= 75
    assert found[2].behind_s > 3000
    assert found[-1].behind_s == 0
    assert clock.wall_s() == pytest.approx(times[-1], abs=60)


def test_an_unset_clock_counts_on_from_the_last_stored_row():
    """A Pi without a clock chip boots in 1970: watched all the same, and said."""
    clock = HandClock(12.0)
    found = rows(clock, 3, last_row_s=NOON_S)
    assert [row.time_s - NOON_S for row in found] == [60, 120, 180]
    assert not any(row.is_set for row in found)


def test_an_unset_clock_and_an_empty_store_still_give_rows():
    found = rows(HandClock(12.0), 2)
    assert found[0].time_s > RELEASED_S
    assert found[1].time_s == found[0].time_s + 60
    assert not found[0].is_set


def test_the_clock_set_later_is_followed():
    clock = HandClock(12.0)
    row_clock = RowClock(clock, step_s=60, last_row_s=NOON_S)
    row_clock.next_row()
    clock.plan_setting(after_s=30, by_s=NOON_S + 86_400)
    row = row_clock.next_row()
    assert row.is_set
    assert row.time_s >= NOON_S + 86_400


def test_waking_ends_the_wait():
    clock = HandClock(NOON_S, stop_after_s=90)
    row_clock = RowClock(clock, step_s=60, last_row_s=None)
    assert [row_clock.next_row() is None for _ in range(3)] == [False, False, True]


@pytest.mark.parametrize("step_s", [2, 60, 300])
def test_any_step_of_the_design_works(step_s):
    found = rows(HandClock(NOON_S + 1), 5, step_s=step_s)
    assert all(row.time_s % step_s == 0 for row in found)
    assert [row.skipped for row in found] == [0] * 5


def test_a_restart_within_the_minute_waits_for_the_next_row():
    """The last row was done ten seconds ago: the next is not done early."""
    clock = HandClock(NOON_S + 10)
    row_clock = RowClock(clock, step_s=60, last_row_s=NOON_S)
    assert row_clock.next_row().time_s == NOON_S + 60
    assert clock.wall_s() == pytest.approx(NOON_S + 60)


def test_time_left_is_that_to_the_next_row_and_none_once_the_clock_has_jumped_past_it():
    """What the rounds of many watches go by."""
    clock = HandClock(NOON_S)
    row_clock = RowClock(clock, step_s=60, last_row_s=None)
    row_clock.next_row()
    clock.advance(20)
    assert row_clock.left_s() == pytest.approx(40)
    clock.set_wall(NOON_S + 130)
    assert row_clock.left_s() == 0.0


def test_between_rows_time_goes_on_as_the_rows_count_it():
    """The wall clock until there is a row; from then on, whatever is done to the wall clock."""
    clock = HandClock(NOON_S)
    believed = BelievedTime(clock)
    assert believed() == NOON_S
    believed.on_row(NOON_S + 60)
    clock.set_wall(0)
    clock.advance(15)
    assert believed() == pytest.approx(NOON_S + 75)
