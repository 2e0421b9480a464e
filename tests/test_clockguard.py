"""The wall clock set back, forward, or not set at all, told from two clocks."""

import pytest

from propstick.clockguard import ClockGuard

EARLIEST_S = 1_780_000_000


@pytest.mark.parametrize(
    ("moved_s", "verdict"),
    [(0, "fine"), (1.9, "fine"), (-1.9, "fine"), (2.1, "forward"), (-2.1, "back"), (-3600, "back")],
)
def test_a_setting_is_told_from_drift(moved_s, verdict):
    """Sixty seconds later the wall clock has moved by sixty and a bit."""
    guard = ClockGuard(earliest_s=EARLIEST_S)
    guard.look(1_784_000_000.0, 500.0)
    found, by_s = guard.look(1_784_000_060.0 + moved_s, 560.0)
    assert (found, round(by_s, 6)) == (verdict, moved_s)


def test_the_first_look_has_nothing_to_compare():
    """Whatever the clocks read."""
    assert ClockGuard(earliest_s=EARLIEST_S).look(1_784_000_000.0, 12.0) == ("fine", 0.0)


def test_an_unset_clock_is_unset_until_it_is_set():
    """A board without a clock chip boots in 1970; the first setting is a jump forward, then all is well."""
    guard = ClockGuard(earliest_s=EARLIEST_S)
    assert guard.look(10.0, 10.0)[0] == "unset"
    assert guard.look(70.0, 70.0)[0] == "unset"
    assert guard.look(1_784_000_000.0, 130.0) == ("forward", pytest.approx(1_784_000_000 - 130))
    assert guard.look(1_784_000_060.0, 190.0)[0] == "fine"


def test_slow_drift_never_adds_up():
    """A clock half a second slow a minute is compared with the last look, not with the first."""
    guard = ClockGuard(earliest_s=EARLIEST_S)
    verdicts = {guard.look(1_784_000_000 + 59.5 * k, 60.0 * k)[0] for k in range(1000)}
    assert verdicts == {"fine"}
