"""The clear-sky ceiling of the sun index by bearing."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from propstick.engine.ceiling import (
    BINS,
    _settled,
    bin_of,
    ceiling_at,
    known_quantile,
    start_ceiling,
    watch_ceiling,
)
from propstick.engine.observer import Trace, learns_at_s, observe, start


def watched(rows, site, boxes, edges=()):
    """The ceilings after the rows, and what was in force at each."""
    state, ceiling, parts = start(boxes), start_ceiling(len(boxes)), []
    for first, stop in pairwise([0, *edges, len(rows)]):
        state, trace = observe(state, rows.cut(first, stop), site)
        for day in np.unique((trace.time_s - learns_at_s(site)) // 86_400):
            there = (trace.time_s - learns_at_s(site)) // 86_400 == day
            piece = Trace(**{name: getattr(trace, name)[there] for name in Trace.__dataclass_fields__})
            ceiling, part = ceiling_at(ceiling, piece, site=site)
            ceiling = watch_ceiling(ceiling, piece, lid=piece.lid, step_s=60)
            parts.append(part)
    return ceiling, np.concatenate(parts)


@pytest.mark.slow
def test_a_clear_week_puts_the_ceiling_where_the_sun_was(garden_rows, kent, two_boxes):
    """Eight clear days at index 1: about 1 in the south; to the north, where no sun was, the same level."""
    ceiling, _ = watched(garden_rows(8.0, cloud=0.0), kent, two_boxes)
    south = bin_of(np.array([180.0]))[0]
    assert ceiling.level[south] == pytest.approx(1.0, abs=0.35)
    assert np.isfinite(ceiling.level).all()


@pytest.mark.slow
def test_an_open_lid_teaches_nothing(garden_rows, kent, two_boxes):
    """With the lid up all along, the ceilings stay at their prior."""
    ceiling, in_force = watched(garden_rows(3.0, lid=np.full(4320, 1.0)), kent, two_boxes)
    np.testing.assert_array_equal(ceiling.level, 1.0)
    np.testing.assert_array_equal(in_force, 1.0)


@pytest.mark.slow
def test_chopping_never_shows(garden_rows, kent, two_boxes):
    """The same bits however the rows are cut."""
    rows = garden_rows(2.2, cloud=0.2)
    state, whole = watched(rows, kent, two_boxes)
    carried, parts = watched(rows, kent, two_boxes, edges=(1, 700, 701, 1560, 1561, 2000))
    np.testing.assert_array_equal(whole, parts)
    for name in ("today", "best", "day", "level", "wide", "dull", "dull_level"):
        np.testing.assert_array_equal(getattr(state, name), getattr(carried, name))


def _lived(days, *, state=None):
    """The ceiling after days whose best sun index at every bearing was as given."""
    state = start_ceiling(1) if state is None else state
    for number, index in enumerate(days):
        today = np.full((BINS, 1), np.nan)
        today[12:32] = index
        state = _settled(replace(state, today=today), float(100 + number))
    return float(state.level[22, 0]), state


def test_a_fortnight_of_cloud_does_not_make_the_first_sunny_day_a_surprise():
    """After fourteen days of a third of a clear sun, as much as two thirds are still to be expected."""
    level, state = _lived([0.33] * 14)
    assert 0.6 < level < 1.0
    assert _lived([1.1] * 3, state=state)[0] == pytest.approx(1.05, abs=0.06)


def test_cloud_after_clear_days_takes_nothing_from_what_they_showed():
    clear, _ = _lived([1.2] * 6)
    assert _lived([1.2] * 6 + [0.3] * 12)[0] == pytest.approx(clear, abs=0.08)


def test_a_box_that_lies_in_the_shade_for_good_is_believed_in_the_end():
    assert _lived([0.33] * 60)[0] < 0.45


def test_the_quantile_is_numpys():
    """Against numpy.nanquantile, with gaps."""
    rng = np.random.default_rng(2)
    values = np.where(rng.random((14, 5, 3)) < 0.4, np.nan, rng.random((14, 5, 3)))
    values[0] = 1.0
    np.testing.assert_allclose(known_quantile(values, 0.65), np.nanquantile(values, 0.65, axis=0))
