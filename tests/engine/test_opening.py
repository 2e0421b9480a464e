"""The lid's opening from temperature alone."""

from itertools import pairwise

import numpy as np
import pytest

from propstick.engine.holding import HoldWatch
from propstick.engine.observer import observe, start
from propstick.engine.opening import OPENINGS, judge_openings, start_opening


def judged(rows, site, boxes, edges=()):
    """Openings over the rows, cut at the edges."""
    state, opening, parts = start(boxes), start_opening(len(boxes)), []
    for first, stop in pairwise([0, *edges, len(rows)]):
        state, trace = observe(state, rows.cut(first, stop), site)
        opening, part = judge_openings(opening, trace, ceiling=np.ones(trace.sun.shape), step_s=60)
        parts.append(part)
    return opening, parts


def night_lid(opening, days=1.0):
    """Lid shut until 22:00 on the last day's evening, then as given."""
    lid = np.zeros(round(days * 1440))
    lid[-150:] = opening
    return lid


@pytest.mark.slow
def test_a_lid_opened_at_night_is_found(garden_rows, kent, two_boxes):
    """Fully open after a day of learning the chill: loose within an hour, and not before."""
    rows = garden_rows(1.0, lid=night_lid(1.0), lid_told=False)
    _, [openings] = judged(rows, kent, two_boxes)
    assert openings.loose[-80:].any(axis=0).all()
    assert not openings.loose[300:-150].any()
    assert openings.opening[-1].min() > 0.25


def test_a_shut_lid_raises_nothing(garden_rows, kent, two_boxes):
    """A closed night: never loose, and P(closed) stays high."""
    rows = garden_rows(0.75, cloud=0.3, lid_told=False)
    _, [openings] = judged(rows, kent, two_boxes)
    assert not openings.loose[60:].any()
    dark = rows.time_s % 86_400 < 4 * 3600
    assert openings.p_closed[dark][60:].mean() > 0.7


def test_a_told_lid_is_believed(garden_rows, kent, two_boxes):
    """With a contact the opening is what it says, between the openings of the bank too."""
    rows = garden_rows(0.1, lid=np.full(144, 0.2))
    _, [openings] = judged(rows, kent, two_boxes)
    np.testing.assert_array_equal(openings.opening, 0.2)
    assert not openings.loose.any()
    np.testing.assert_allclose(np.einsum("nkb,k->nb", openings.weight, OPENINGS), 0.2)


def test_weights_are_probabilities(garden_rows, kent, two_boxes):
    """They add up to 1 at every row."""
    _, [openings] = judged(garden_rows(0.3, lid_told=False), kent, two_boxes)
    np.testing.assert_allclose(openings.weight.sum(axis=1), 1.0)


def test_chopping_never_shows(garden_rows, kent, two_boxes):
    """The same bits however the rows are cut."""
    rows = garden_rows(0.4, lid_told=False)
    state, [whole] = judged(rows, kent, two_boxes)
    carried, parts = judged(rows, kent, two_boxes, edges=(1, 7, 300, 301, 500))
    for name in ("opening", "p_closed", "loose"):
        np.testing.assert_array_equal(getattr(whole, name), np.concatenate([getattr(p, name) for p in parts]))
    np.testing.assert_array_equal(state.weight, carried.weight)
    for name in HoldWatch.__dataclass_fields__:
        np.testing.assert_array_equal(getattr(state.holding, name), getattr(carried.holding, name))
