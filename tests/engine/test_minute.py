"""The minute-scale engine as a whole: the same however it is fed, and quick to say what it knows."""

from dataclasses import fields
from itertools import pairwise

import numpy as np
import pytest

from propstick import codec
from propstick.engine.minute import begin, follow


def assert_same(whole, joined, name=""):
    """Bit for bit, through nested records."""
    if hasattr(whole, "__dataclass_fields__"):
        for f in fields(whole):
            if f.name not in ("index", "row"):
                assert_same(getattr(whole, f.name), getattr(joined, f.name), f"{name}.{f.name}")
    else:
        np.testing.assert_array_equal(whole, joined, err_msg=name)


@pytest.mark.slow
def test_chopping_never_shows(garden_rows, kent, two_boxes):
    """Two days over two learnings, whole or cut: equal state, equal rows."""
    rows = garden_rows(2.2, cloud=0.4, lid_told=False)
    state, whole = follow(begin(two_boxes), rows, limit_c=np.full(2, 20.0), boxes=two_boxes, site=kent)
    carried, parts = begin(two_boxes), []
    for first, stop in pairwise([0, 1, 2, 119, 120, 121, 800, 1561, 2000, 3001, len(rows)]):
        carried, part = follow(
            carried, rows.cut(first, stop), limit_c=np.full(2, 20.0), boxes=two_boxes, site=kent
        )
        parts.append(part)
    assert_same(state, carried)
    for field in ("p30", "eta_s", "eta_high_s"):
        joined = np.concatenate([getattr(part.ahead, field) for part in parts])
        np.testing.assert_array_equal(getattr(whole.ahead, field), joined)
    for field in ("opening", "p_closed", "loose"):
        joined = np.concatenate([getattr(part.openings, field) for part in parts])
        np.testing.assert_array_equal(getattr(whole.openings, field), joined)
    np.testing.assert_array_equal(whole.trace.time_s, rows.time_s[whole.trace.index])
    np.testing.assert_array_equal(whole.trace.time_s[whole.ahead.row], whole.ahead.time_s)


def test_a_fine_grid_is_thinned_to_minutes(garden_rows, kent, two_boxes):
    """On a 30 s grid every second row is worked on, and said so."""
    rows = garden_rows(0.1)
    names = [f.name for f in fields(rows)]
    doubled = type(rows)(**{name: np.repeat(getattr(rows, name), 2, axis=0) for name in names})
    doubled.time_s[1::2] += 30
    _, minutes = follow(begin(two_boxes, 30), doubled, limit_c=np.full(2, 20.0), boxes=two_boxes, site=kent)
    np.testing.assert_array_equal(minutes.trace.index, 2 * np.arange(len(rows)))
    _, plain = follow(begin(two_boxes), rows, limit_c=np.full(2, 20.0), boxes=two_boxes, site=kent)
    np.testing.assert_array_equal(minutes.trace.air_c, plain.trace.air_c)


def test_no_rows_say_nothing(garden_rows, kent, two_boxes):
    """An empty piece changes nothing and forecasts nothing."""
    state, _ = follow(
        begin(two_boxes), garden_rows(0.05), limit_c=np.full(2, 20.0), boxes=two_boxes, site=kent
    )
    after, minutes = follow(
        state, garden_rows(0.05).cut(0, 0), limit_c=np.full(2, 20.0), boxes=two_boxes, site=kent
    )
    assert len(minutes.trace) == 0
    assert_same(state, after)


def test_the_state_survives_as_text(garden_rows, kent, two_boxes):
    """Written and read back, every bit is the same."""
    state, _ = follow(
        begin(two_boxes), garden_rows(0.5), limit_c=np.full(2, 20.0), boxes=two_boxes, site=kent
    )
    assert_same(state, codec.from_text(codec.to_text(state), of=type(state)))
