"""From judged cells to probes, covers and steps."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from propstick.app import recording
from propstick.app.recording import Recording

START = datetime(2026, 4, 12, 18, tzinfo=UTC)


def table(columns, rows, *, step_s=60, **options) -> Recording:
    lines = [
        f"{START + timedelta(seconds=step_s * k):%Y-%m-%dT%H:%M:%SZ},{row}" for k, row in enumerate(rows)
    ]
    return recording.read(("\n".join([f"time,{columns}", *lines]) + "\n").encode(), **options)


@pytest.mark.parametrize(("step_s", "every_s"), [(10, None), (60, None), (90, 90), (900, 900), (3600, 3600)])
def test_a_column_slower_than_the_grid_says_so(step_s, every_s):
    """Its own step, so that its values are carried as long as it means them to be."""
    assert table("north.air", ["9", "9.1", "9.2", "9.1"], step_s=step_s).probes[0].every_s == every_s


def test_each_column_has_its_own_step():
    """Soil every third row in a table of minutes."""
    found = table("north.air,north.soil", [f"9,{8 if k % 3 == 0 else ''}" for k in range(12)])
    assert [(p.place, p.every_s) for p in found.probes] == [("air", None), ("soil", 180)]


def test_a_logger_that_often_skips_is_slow_and_one_that_seldom_does_is_not():
    """Of a hundred quarters of an hour: every fifth missing, or two."""
    often = table("north.air", ["" if k % 5 == 0 else "9" for k in range(100)], step_s=900)
    seldom = table("north.air", ["" if k in (20, 60) else "9" for k in range(100)], step_s=900)
    assert [r.probes[0].every_s for r in (often, seldom)] == [1800, 900]


def test_covers_become_news_on_change():
    """And are no probe's readings; a value that is neither 0 nor 1 is out of range."""
    found = table("north.air,north.cover", ["9,0", "9,0", "9,1", "9,7", "9,1", "9,0"])
    start = int(START.timestamp())
    assert [(c.time_s - start, c.on) for c in found.covers] == [(0, False), (120, True), (300, False)]
    assert [p.id for p in found.probes] == ["north.air"]
    assert (len(found.columns), len(found.cover_columns), found.cells) == (6, 6, 12)


def test_fahrenheit_is_for_air_and_soil_alone():
    """50 °F is 10 °C by definition; humidity and lid have no such unit."""
    found = table("north.air,north.soil,north.humidity,north.lid", ["50,41,80,0.5"] * 2, unit="F")
    assert found.columns.raw[:4].tolist() == [10.0, 5.0, 80.0, 0.5]


def test_boxes_in_the_order_of_the_columns():
    """Also one that has a cover only; never outside."""
    found = table("outside.air,lane.soil,north.air,lane.air,shed.cover", ["1,2,3,4,0"] * 2)
    assert found.boxes == ("lane", "north", "shed")


def test_span_leaves_out_impossible_clocks():
    """First and last believable time."""
    text = "time,north.air\n1970-01-01T00:00:00Z,9\n2026-04-12T18:00:00Z,9\n2026-04-12T18:05:00Z,9\n"
    first, last = recording.read(text.encode()).span_ms()
    assert (first, last - first) == (int(START.timestamp()) * 1000, 300_000)


def test_a_column_without_any_reading_is_still_a_probe():
    """It is silent, which the engine is to notice."""
    found = table("north.air,north.soil", ["9,"] * 3)
    assert [p.id for p in found.probes] == ["north.air", "north.soil"]
    assert np.unique(found.columns.column).tolist() == [0]
