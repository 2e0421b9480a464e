"""What a place measured, from single readings."""

import numpy as np
import pytest

from propstick.app.place_series import Series, place_series
from propstick.blocks import Flag
from propstick.garden import Garden, Probe
from propstick.grid import ReadingColumns

GARDEN = Garden(
    probes=(
        Probe(id="a", box="north", place="air", correction_c=0.5),
        Probe(id="b", box="north", place="air"),
        Probe(id="c", box="north", place="air"),
        Probe(id="s", box="north", place="soil"),
    )
)


def readings(*items):
    """(probe, seconds, value[, flags]) in any order."""
    names = ("a", "b", "c", "s", "x")
    return ReadingColumns(
        probes=names,
        time_ms=np.array([round(1000 * i[1]) for i in items], dtype=np.int64),
        column=np.array([names.index(i[0]) for i in items], dtype=np.int32),
        raw=np.array([i[2] for i in items], dtype=float),
        flags=np.array([i[3] if len(i) > 3 else 0 for i in items], dtype=np.uint16),
    )


def air(*items):
    found = place_series(readings(*items), GARDEN, box="north", place="air")
    return list(zip(found.row_s.tolist(), found.value.tolist(), strict=True))


def test_median_of_the_good_probes_row_by_row():
    """Corrected first; of an even number the mean of the middle two."""
    assert air(("a", 60, 1.0), ("b", 60, 2.0), ("c", 60, 9.0), ("b", 120, 3.0), ("c", 120, 4.0)) == [
        (60, 2.0), (120, 3.5),
    ]  # fmt: skip


def test_the_last_reading_of_a_row_counts():
    """Row 60 takes what fell into (0, 60]."""
    assert air(("b", 50, 2.0), ("b", 10, 1.0), ("b", 60.5, 7.0)) == [(60, 2.0), (120, 7.0)]


def test_flagged_and_empty_readings_and_other_places_are_left_out():
    """A fault never enters."""
    assert air(("b", 60, 2.0, int(Flag.JUMP)), ("a", 60, np.nan), ("s", 60, 5.0), ("x", 60, 6.0)) == []


def test_a_value_is_carried_no_longer_than_asked():
    """NaN before the first, and once the last has grown old."""
    series = Series(np.array([100, 200]), np.array([1.0, 2.0]))
    carried = series.carried(np.array([99, 100, 199, 200, 260, 261]), no_older_than_s=60)
    assert carried.tolist() == pytest.approx([np.nan, 1.0, np.nan, 2.0, 2.0, np.nan], nan_ok=True)
    assert np.isnan(Series(np.empty(0, dtype=np.int64), np.empty(0)).last_at(5, no_older_than_s=9))


def test_a_stretch_of_a_series_holds_both_of_its_ends():
    whole = Series(np.array([60, 120, 180, 240]), np.array([1.0, 2.0, 3.0, 4.0]))
    part = whole.between(120, 180)
    assert (part.row_s.tolist(), part.value.tolist()) == ([120, 180], [2.0, 3.0])
    assert not len(whole.between(121, 179))
