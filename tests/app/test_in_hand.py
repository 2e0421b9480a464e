"""The probe in the hand, on fake buses."""

import pytest

from propstick.app.in_hand import find, moved
from propstick.errors import ProbeError
from propstick.testing import FakeBus, HandClock

A, B, C = "28-00000000000a", "28-00000000000b", "28-00000000000c"


def test_find_says_which_probe_is_warmed():
    """One of three probes warms by 0.4 °C a second from the sixth second on; the others drift."""
    start_s = 1_784_000_000

    def values(row_s):
        since_s = row_s - start_s
        return {A: 12.0 + 0.01 * since_s, B: 8.0 + 0.4 * max(0, since_s - 6), C: 9.0}

    told = []
    assert find([FakeBus(source=values)], HandClock(start_s), tell=told.append) == B
    assert told[0].startswith("3 probes")


def test_find_looks_at_every_bus():
    still, warmed = FakeBus("one", {A: 12.0}), FakeBus("two", source=lambda s: {B: 8.0 + 0.5 * (s % 1000)})
    assert find([still, warmed], HandClock(1_784_000_000)) == B


def test_find_gives_up_when_nothing_moves():
    with pytest.raises(ProbeError, match="no probe moved"):
        find([FakeBus(values={A: 12.0, B: 8.0})], HandClock(), give_up_s=30)


def test_find_says_when_no_probe_answers():
    with pytest.raises(ProbeError, match="none answers"):
        find([FakeBus(values={})], HandClock())


def test_find_ends_when_it_is_stopped():
    with pytest.raises(ProbeError):
        find([FakeBus(values={A: 12.0})], HandClock(stop_after_s=5))


def test_a_flagged_value_is_not_taken_for_a_hand():
    """The power-on value of 85 °C is a step of 70 °C, and no hand."""
    bus = FakeBus(values={A: 12.0, B: 8.0})
    bus.flags[B] = 2
    bus.source = lambda s: {A: 12.0, B: 85.0}
    with pytest.raises(ProbeError, match="no probe moved"):
        find([bus], HandClock(), give_up_s=10)


@pytest.mark.parametrize(
    ("now", "expected"),
    [
        ({A: 13.4, B: 8.0}, None),  # too little
        ({A: 13.6, B: 8.0}, A),
        ({A: 9.9, B: 8.0}, A),  # cold water counts as well
        ({A: 14.0, B: 9.5}, None),  # the sun has come out on both
        ({A: 14.0, C: 40.0}, A),  # one that was not there before has not moved
        ({}, None),
    ],
)
def test_moved_needs_one_probe_that_moves_alone(now, expected):
    assert moved({A: 12.0, B: 8.0}, now) == expected
