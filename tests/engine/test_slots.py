"""The memory of two days: means of whole slots, however the rows come."""

import itertools

import numpy as np
import pytest

from propstick.blocks import PlaceRows
from propstick.engine.slots import KEPT, SLOT_S, extend, no_slots


def _rows(n, *, boxes=2, step_s=60, start_s=0, seed=1):
    rng = np.random.default_rng(seed)
    wide = [np.round(rng.normal(5, 3, (n, boxes)), 2) for _ in range(6)]
    wide[0][rng.random((n, boxes)) < 0.2] = np.nan
    site = [np.round(rng.normal(5, 3, n), 2) for _ in range(3)]
    time_s = start_s + step_s * np.arange(1, n + 1, dtype=np.int64)
    return PlaceRows(time_s, *site, *wide, fresh=np.ones((n, boxes), dtype=bool))


def test_a_slot_holds_the_mean_and_extremes_of_its_rows():
    """Rows in (300 i, 300 (i + 1)] against numpy's own means."""
    rows = _rows(12)
    slots = extend(no_slots(2), rows)
    assert slots.stop_s == 600
    assert slots.index_of(600) == 1
    assert slots.place("air_c")[1, :2] == pytest.approx(np.nanmean(rows.air_c[5:10], axis=0), abs=1e-5)
    assert slots.outside(0)[0] == pytest.approx(rows.outside_air_c[:5].mean(), abs=1e-5)
    assert slots.low[0, -1] == pytest.approx(rows.outside_air_c[:5].min(), abs=1e-5)
    assert slots.high[1, 0] == pytest.approx(np.nanmax(rows.air_c[5:10, 0]), abs=1e-5)
    assert len(slots.pending_s) == 2


@pytest.mark.parametrize("boxes", [0, 1, 8])
def test_chopping_does_not_change_a_bit(boxes):
    rows = _rows(400, boxes=boxes)
    whole = extend(no_slots(boxes), rows)
    chopped = no_slots(boxes)
    cuts = [0, 1, 2, 7, 8, 150, 151, 399, 400]
    for first, last in itertools.pairwise(cuts):
        chopped = extend(chopped, rows.cut(first, last))
    for name in ("mean", "low", "high", "pending", "pending_s"):
        np.testing.assert_array_equal(getattr(whole, name), getattr(chopped, name))


def test_a_hole_in_the_rows_is_a_hole_in_the_slots():
    slots = extend(extend(no_slots(2), _rows(5)), _rows(5, start_s=1200))
    assert slots.mean.shape[0] == 5
    assert np.isnan(slots.mean[1:4]).all()
    assert not np.isnan(slots.outside(0)[[0, 4]]).any()


def test_only_two_days_are_kept_and_a_long_silence_starts_anew():
    slots = extend(no_slots(1), _rows(KEPT + 10, boxes=1, step_s=SLOT_S))
    assert slots.mean.shape[0] == KEPT
    assert slots.stop_s == (KEPT + 10) * SLOT_S
    later = extend(slots, _rows(2, boxes=1, step_s=SLOT_S, start_s=30 * 86_400))
    assert later.mean.shape[0] == 2


def test_the_open_ground_is_the_last_column():
    """It counts as a lid fully open without a cover."""
    rows = _rows(5)
    slots = extend(no_slots(2), rows)
    assert slots.place("soil_c")[0, -1] == pytest.approx(rows.outside_soil_c.mean(), abs=1e-5)
    assert slots.place("lid")[0, -1] == 1.0
    assert slots.place("cover")[0, -1] == 0.0
    assert slots.air_now()[-1] == pytest.approx(rows.outside_air_c[-1], abs=1e-5)
