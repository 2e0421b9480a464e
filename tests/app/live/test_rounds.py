"""Many watches in few threads: in their order, each when due, none held up by a neighbour's fault."""

import threading
import time

import pytest

from propstick.app.live.rounds import Rounds
from propstick.edges.clock import SystemClock
from propstick.testing import HandClock

STEP_S = 60.0


class Plot:
    """A watch whose rows fall due every minute of a clock moved by hand."""

    def __init__(self, clock, *, takes=lambda: None):
        self._clock, self._takes = clock, takes
        self._due_s = clock.monotonic_s()
        self.rows = []

    def left_s(self):
        return max(0.0, self._due_s - self._clock.monotonic_s())

    def do_due_row(self):
        self.rows.append(self._due_s)
        self._due_s += STEP_S
        self._takes()


class PatientClock(HandClock):
    """Lets time pass only when nobody is at work."""

    rounds = None

    def wait(self, seconds):
        while len(self.rounds._idle) < 7:
            time.sleep(0.001)
        return super().wait(seconds)


def test_every_row_of_every_watch_is_done_once():
    clock = PatientClock(stop_after_s=5 * STEP_S + 1)
    plots = [Plot(clock) for _ in range(7)]
    first_s = clock.monotonic_s()
    clock.rounds = Rounds(plots, clock, at_once=2)
    clock.rounds.run()
    assert [plot.rows for plot in plots] == [[first_s + k * STEP_S for k in range(6)]] * 7


def test_no_more_than_so_many_at_a_time_and_in_order():
    clock = SystemClock()
    lock, under_way, most, order = threading.Lock(), [0], [0], []

    def takes(number):
        with lock:
            under_way[0] += 1
            most[0] = max(most[0], under_way[0])
            order.append(number)
        time.sleep(0.01)
        with lock:
            under_way[0] -= 1
            if len(order) == 12:
                clock.wake()

    plots = [Plot(clock, takes=lambda number=number: takes(number)) for number in range(12)]
    Rounds(plots, clock, at_once=3).run()
    assert most == [3]
    # Begun in their order; of three under way at a time none is more than two places off.
    assert all(abs(place - number) <= 2 for place, number in enumerate(order))


def test_once_woken_only_first_rows_are_done_all_the_same():
    """`--once` wakes the clock at the first row of the first site."""
    clock = SystemClock()
    plots = [Plot(clock, takes=clock.wake) for _ in range(20)]
    for plot in plots[:10]:
        plot._due_s -= STEP_S  # one row behind
    Rounds(plots, clock, at_once=1).run()
    assert [len(plot.rows) for plot in plots] == [1] * 20


def test_one_that_fails_ends_all_with_its_own_words():
    clock = SystemClock()

    def fail():
        raise RuntimeError("planted")

    plots = [Plot(clock), Plot(clock, takes=fail), *(Plot(clock) for _ in range(10))]
    with pytest.raises(RuntimeError, match="planted"):
        Rounds(plots, clock, at_once=1).run()
    assert [len(plot.rows) for plot in plots] == [1, 1] + [0] * 10


def test_a_watch_that_becomes_due_before_its_time_does_not_wait_out_the_minute():
    """The wall clock was set forward: the row clock says so when it is asked."""
    clock = HandClock(stop_after_s=STEP_S / 2)
    plot = Plot(clock)
    plot._due_s += STEP_S
    clock.plan_setting(10.0, 3600.0)
    set_at_s = clock.wall_s() + 3600.0
    plot.left_s = lambda: STEP_S if plot.rows or clock.wall_s() < set_at_s else 0.0
    Rounds([plot], clock).run()
    assert len(plot.rows) == 1
