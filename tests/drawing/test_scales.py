"""Positions and the words of the axes."""

from datetime import UTC, datetime
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from propstick.drawing.scales import DegreeScale, TimeScale, degree_scale, spread


def times(start, end, zone="UTC"):
    ends = [int(datetime.fromisoformat(t).replace(tzinfo=UTC).timestamp()) for t in (start, end)]
    return TimeScale(*ends, 0.0, 100.0, zone)


def test_hours_on_the_clock_there():
    """Whole hours of the site, at most seven."""
    assert [w for _, w in times("2026-04-12T17:20", "2026-04-13T07:10", "Europe/Dublin").ticks()] == [
        "20", "22", "00", "02", "04", "06", "08",
    ]  # fmt: skip


@pytest.mark.parametrize("zone", ["Asia/Kathmandu", "Europe/Berlin", "Australia/Lord_Howe"])
@pytest.mark.parametrize("day", ["2026-03-28", "2026-10-24", "2026-04-04"])
def test_ticks_through_changes_of_the_clock(zone, day):
    """Odd offsets, skipped and doubled hours: in order, inside, each on a whole hour there."""
    scale = times(f"{day}T12:00", f"{day[:-2]}{int(day[-2:]) + 1:02d}T12:00", zone)
    found = [at for at, _ in scale.ticks()]
    assert found == sorted(set(found))
    assert len(found) >= 3
    assert all(scale.inside(at) and scale.clock(at).endswith(":00") for at in found)


def test_positions():
    """Ends on the edges; beyond them held there."""
    scale = times("2026-04-12T00:00", "2026-04-12T10:00")
    assert [scale.x(scale.start_s), scale.x(scale.end_s), scale.x(scale.start_s + 18_000)] == [
        0.0,
        100.0,
        50.0,
    ]
    assert (scale.held(scale.start_s - 1), scale.held(scale.end_s + 1)) == (0.0, 100.0)


def test_marks_are_round_in_the_persons_unit():
    """0 and 10 °C are 32 and 50 °F; marks at 35, 40, 45, 50 °F and so on."""
    assert [w for _, w in DegreeScale(-1.0, 11.0, 0.0, 120.0, "C").ticks()] == ["0", "2", "4", "6", "8", "10"]
    fahrenheit = DegreeScale(0.0, 10.0, 0.0, 100.0, "F")
    assert [w for _, w in fahrenheit.ticks()] == ["35", "40", "45", "50"]
    assert fahrenheit.ticks()[-1][0] == pytest.approx(10.0)
    assert fahrenheit.y(fahrenheit.ticks()[-1][0]) == pytest.approx(0.0)


@given(st.lists(st.floats(-60, 80), max_size=20), st.sampled_from("CF"))
def test_a_scale_holds_every_value_and_is_never_flat(values, unit):
    """Also of none, or of one value only."""
    scale = degree_scale(values, top=10, bottom=110, unit=unit)
    assert scale.high_c - scale.low_c >= 6.0 - 1e-9
    assert all(10 <= scale.y(v) <= 110 for v in values)
    assert 1 <= len(scale.ticks()) <= 8


def test_hours_as_the_person_reads_them():
    """Six in the evening to six in the morning: 18 to 06, or 6 pm to 6 am."""
    wide = {"start_s": 64_800, "end_s": 108_000, "left": 0, "right": 100, "zone": None}
    assert [word for _, word in TimeScale(**wide).ticks()] == ["18", "20", "22", "00", "02", "04", "06"]
    twelve = TimeScale(**wide, twelve_hour=True)
    assert [word for _, word in twelve.ticks()] == ["6 pm", "8 pm", "10 pm", "12 am", "2 am", "4 am", "6 am"]
    assert twelve.clock(108_000 + 20 * 60) == "6:20 am"


@given(st.lists(st.floats(0, 100), max_size=5))
def test_labels_are_moved_apart_in_their_order(wanted):
    """None touches the next, all inside, the order kept."""
    placed = spread(wanted, apart=15, low=0, high=100)
    order = sorted(range(len(wanted)), key=lambda k: wanted[k])
    gaps = [placed[b] - placed[a] for a, b in pairwise(order)]
    assert all(gap >= 15 - 1e-9 for gap in gaps)
    assert all(-1e-9 <= y <= 100 + 1e-9 for y in placed)
