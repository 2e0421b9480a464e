"""Which readings are flagged before the engine sees them."""

import numpy as np
import pytest

from propstick.app.recording.judge import judged, wrong_clock
from propstick.blocks import Flag

START = 1_775_000_000_000
MINUTE = 60_000
DAY = 86_400_000


def flags_of(values, *, place="air", times=None, columns=None, in_order=True):
    raw = np.array(values, dtype=float)
    times = START + MINUTE * np.arange(len(raw)) if times is None else np.array(times)
    columns = np.zeros(len(raw), dtype=np.int32) if columns is None else np.array(columns, dtype=np.int32)
    return [
        Flag(int(f))
        for f in judged(
            times.astype(np.int64), columns, raw=raw, flags=np.zeros(len(raw), dtype=np.uint16),
            places=(place,) * (int(columns.max()) + 1), step_s=60, in_order=in_order,
        )
    ]  # fmt: skip


def clock(*times, in_order=True):
    return wrong_clock(np.array(times, dtype=np.int64), in_order=in_order).tolist()


def test_first_of_a_double_counts_per_probe():
    """The same probe and time again is flagged; another probe at that time is not."""
    times = [START, START, START, START + MINUTE]
    assert flags_of([1, 2, 3, 4], times=times, columns=[0, 0, 1, 0]) == [0, Flag.DUPLICATE, 0, 0]


def test_late_by_more_than_a_step_is_late():
    """One step behind the newest is still in time; a repeated old row is a double only."""
    times = [START + k * MINUTE for k in (0, 5, 4, 3, 6, 0)]
    assert flags_of([1] * 6, times=times) == [0, 0, 0, Flag.LATE, 0, Flag.DUPLICATE]


def test_a_pack_sorted_by_probe_is_not_late():
    """In SenML the order of different probes means nothing."""
    times = [START, START + 10 * MINUTE, START, START + 10 * MINUTE]
    assert flags_of([1, 2, 3, 4], times=times, columns=[0, 0, 1, 1], in_order=False) == [0, 0, 0, 0]


@pytest.mark.parametrize(
    ("place", "values", "bad"),
    [
        ("lid", [0, 0.5, 1, 1.2, -0.1], [3, 4]),
        ("cover", [0, 1, 7], [2]),
        ("humidity", [0, 100.5, 140, -5], [2, 3]),
        ("moisture", [0, 100, 101], [2]),
        ("air", [20, 1e300, -1e5], [1, 2]),
    ],
)
def test_values_out_of_the_places_range(place, values, bad):
    """What a contact, a humidity sensor or a thermometer cannot say."""
    assert [k for k, f in enumerate(flags_of(values, place=place)) if f & Flag.RANGE] == bad


@pytest.mark.parametrize(
    ("values", "bad"),
    [
        ([12.0, 85.0, 12.1], [1]),
        ([85.0, 12.0], [0]),
        ([12.0, 85.0, 85.0, 12.0], [1, 2]),
        ([85.0, 85.0], [0, 1]),
        ([84.9, 85.0, 85.1], []),
        ([12.0, 84.9, 12.0], []),
    ],
)
def test_exactly_85_far_from_its_neighbours_is_the_power_on_value(values, bad):
    """DS18B20 data sheet: the register holds +85 °C after power-on. A real 85.0 has warm neighbours."""
    assert [k for k, f in enumerate(flags_of(values)) if f & Flag.POWER_ON] == bad


@pytest.mark.parametrize("odd", [0, 86_400_000, 4_070_908_800_000])
@pytest.mark.parametrize("at", [0, 1, 50, 99])
def test_clock_of_1970_or_2099_anywhere_in_the_file(odd, at):
    """First, in the middle, or last: that row alone is flagged."""
    times = [START + k * MINUTE for k in range(100)]
    times[at] = odd
    assert [k for k, wrong in enumerate(clock(*times)) if wrong] == [at]


def test_a_day_ahead_is_the_limit():
    """A little ahead is disorder, more than a day a wrong clock."""
    assert clock(START, START + DAY, START + MINUTE) == [False, False, False]
    assert clock(START, START + DAY + 2 * MINUTE, START + MINUTE, START + 2 * MINUTE) == [
        False, True, False, False,
    ]  # fmt: skip


def test_an_honest_gap_of_a_winter_is_no_wrong_clock():
    """Eight months of silence, then a few rows."""
    assert not any(clock(*range(START, START + 1000 * MINUTE, MINUTE), START + 240 * DAY))


def test_one_stray_old_row_does_not_spoil_the_newer_ones():
    """A row of last week at the end is late, not proof that the week was in the future."""
    assert not any(clock(*(START + k * DAY for k in range(8)), START + MINUTE))


def test_a_whole_file_of_the_nineties_is_an_old_recording():
    """Measured in 1998; one row of 1970 in it is still wrong."""
    then = 893_000_000_000
    assert clock(then, then + MINUTE, 0, then + 2 * MINUTE) == [False, False, True, False]
