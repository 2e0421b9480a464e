"""Rows in another order than that of time: a few came late, a whole file was put together so."""

import numpy as np
import pytest

from propstick.app import recording
from propstick.blocks import Flag

N = 600
LINES = [f"2026-04-{12 + k // 144:02}T{k % 144 // 6:02}:{k % 6}0:00Z,{9 + k % 7 / 10:.1f}" for k in range(N)]
HEAD = "time,north.air"


def read(lines):
    return recording.read(("\n".join([HEAD, *lines]) + "\n").encode())


def rows(found):
    return list(zip(found.columns.time_ms.tolist(), found.columns.raw.tolist(), strict=True))


def shuffled():
    order = np.random.default_rng(8).permutation(N)
    return [LINES[k] for k in order]


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (LINES[::-1], "backwards"),
        (shuffled(), "no order"),
        ([*LINES[300:], HEAD, *LINES[:300]], "put together"),
        ([*LINES[400:], HEAD, *LINES[200:400], HEAD, *LINES[:200]], "put together"),
    ],
)
def test_a_file_whose_order_says_nothing_is_read_in_that_of_time(lines, said):
    """The same readings as of the file in order, none called late or of a wrong clock, and it is said."""
    found = read(lines)
    assert rows(found) == rows(read(LINES))
    assert not found.columns.flags.any()
    assert said in " ".join(found.remarks)


def test_rows_behind_their_place_are_late_all_the_same():
    """An hour's rows that came after the next hour's: arrival, not disorder."""
    found = read([*LINES[:100], *LINES[106:112], *LINES[100:106], *LINES[112:]])
    late = (found.columns.flags & int(Flag.LATE)) != 0
    assert int(late.sum()) == 6
    assert not found.remarks


def test_parts_that_overlap_in_time_are_judged_as_they_arrived():
    """Two files of the same days: what is behind the newest is late, as it would be in the watch."""
    found = read([*LINES[100:], HEAD, *LINES[:200]])
    assert (found.columns.flags & int(Flag.LATE | Flag.CLOCK | Flag.DUPLICATE)).astype(bool).sum() == 200
