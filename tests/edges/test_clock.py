"""The machine's clocks behind the Clock port."""

import os
import signal
import threading
import time

import pytest

from propstick.edges.clock import SystemClock


def test_wall_and_monotonic_are_the_machines():
    """Compared with the same clocks read around it."""
    clock = SystemClock()
    before, boot_before = time.time(), time.clock_gettime(time.CLOCK_BOOTTIME)
    wall_s, monotonic_s = clock.wall_s(), clock.monotonic_s()
    assert before <= wall_s <= time.time()
    assert boot_before <= monotonic_s <= time.clock_gettime(time.CLOCK_BOOTTIME)


def test_a_wait_is_ended_by_wake_and_so_are_later_ones():
    """An hour's wait comes back as soon as the program stops."""
    clock = SystemClock()
    answers: list[bool] = []
    waiter = threading.Thread(target=lambda: answers.append(clock.wait(3600)), daemon=True)
    waiter.start()
    clock.wake()
    waiter.join(5)
    assert answers == [True]
    assert clock.wait(3600) is True


@pytest.mark.parametrize("seconds", [0.0, -5.0])
def test_a_wait_that_is_over_returns_at_once(seconds):
    """A row that is due is not waited for."""
    assert SystemClock().wait(seconds) is False


def test_suspend_ends_a_wait(monkeypatch):
    """The boot clock jumps while asleep; the rest of the wait is not made up."""
    clock = SystemClock()
    times = iter([100.0, 100.0, 5000.0, 5000.0])
    monkeypatch.setattr(clock, "monotonic_s", lambda: next(times))
    monkeypatch.setattr(clock, "_is_woken", lambda seconds: False)
    assert clock.wait(60) is False


def test_a_signal_handler_may_wake():
    """SIGTERM while waiting: the handler runs in the waiting thread itself."""
    clock = SystemClock()
    before = signal.signal(signal.SIGUSR1, lambda *_: clock.wake())
    try:
        sender = threading.Thread(target=lambda: os.kill(os.getpid(), signal.SIGUSR1))
        sender.start()
        assert clock.wait(60) is True
        sender.join()
    finally:
        signal.signal(signal.SIGUSR1, before)


def test_a_clock_leaves_no_descriptor_behind():
    """Made and forgotten a few thousand times."""
    for _ in range(3000):
        SystemClock().wake()
    assert SystemClock()._pipe_in < 1000


def test_waking_over_and_over_is_harmless():
    """The pipe fills up; waits are over all the same."""
    clock = SystemClock()
    for _ in range(70_000):
        clock.wake()
    assert clock.wait(60) is True
