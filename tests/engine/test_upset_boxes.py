"""A box emptied, watered or under an untold mat, its probe in the bed or in another box: noticed, said,
allowed for; others untouched.

Boxes of `propstick.simulation`, which shares no equation with the model, under invented weather; lids are
shown by contacts. A lid nobody shows is judged by its nights alone, which show less.
"""

from dataclasses import replace
from datetime import UTC, date, datetime, time

import numpy as np
import pytest

from propstick.blocks import Block
from propstick.engine.pipeline import advance, begin
from propstick.garden import Box, Garden, Person, Probe, Site, Sowing
from propstick.limits import CropLimits
from propstick.simulation.boxes import Frames
from propstick.simulation.frame import FrameSpec
from propstick.simulation.garden import Garden as Plot
from propstick.simulation.ground import depth_weights
from propstick.simulation.skies import CLEAR, SkyKnobs
from propstick.simulation.upsets import watered
from propstick.simulation.weather import Climate, invented

DAYS, UPSET_DAY, DAY_ROWS = 12, 7, 1440
START_S = int(datetime(2026, 3, 10, tzinfo=UTC).timestamp())
NAMES = ("north", "lane")
SITE = Site(name="plot", latitude=50.0, longitude=8.0, zone="Europe/Berlin")


def garden():
    """Two boxes with air, soil and a contact each, lettuce up in both; outside air."""
    probes = [
        Probe(id=f"{box}-{place}", box=box, place=place) for box in NAMES for place in ("air", "soil", "lid")
    ]
    limits = CropLimits(crop="lettuce", frost_c=1.0)
    sowings = tuple(
        Sowing(id=box, box=box, limits=limits, sown=date(2026, 2, 20), up=date(2026, 3, 1)) for box in NAMES
    )
    return Garden(
        site=SITE,
        person=Person(leaves=time(8), back=time(17)),
        boxes=tuple(Box(name=name) for name in NAMES),
        probes=(*probes, Probe(id="out", box="outside", place="air")),
        sowings=sowings,
    )


def lived(upset):
    """Readings of the twelve days, a column a probe."""
    climate = Climate(
        year_mean_c=10.0, spell_sd_c=1.5, wind_m_s=1.5, sky=SkyKnobs(clear_h=40.0, first=CLEAR, spread=0.15)
    )
    weather = invented(50.0, 8.0, start_s=START_S, days=DAYS, seed=5, climate=climate)
    specs = [FrameSpec.draw(70 + k, name=name) for k, name in enumerate(NAMES)]
    plot, rng, lid = Plot(weather, specs), np.random.default_rng(1), np.zeros(2)
    rows = []
    for row in range(len(weather)):
        if upset == "emptied" and row == UPSET_DAY * DAY_ROWS + 600:
            bare = replace(specs[0], leaves_j_m2k=300.0, wall_j_k=0.2 * specs[0].wall_j_k, wet=0.05)
            plot.frames = Frames((bare, specs[1]))
        warm = np.select([plot.state.air_c > 24, plot.state.air_c < 18], [0.3, 0.0], lid)
        lid = np.where(weather.ghi_w_m2[row] > 100.0, warm, 0.0)
        past = row - UPSET_DAY * DAY_ROWS - 600
        mat = np.array([float(upset == "mat" and past >= 0), 0.0])
        if (
            upset == "watered" and 240 <= past < 248
        ):  # two cans of 10 litres, half of it down cracks and cables
            poured = np.array([0.0, 24.0]) / 8.0
            plot.state = watered(plot.state, plot.frames, poured_kg_m2=poured, water_c=4.0, along=0.5)
        plot.advance(lid * (1.0 - mat), mat)
        soil = plot.frames.at_probe(plot.state.soil_c)
        read = np.array([*plot.state.air_c, *soil, weather.air_c[row]]) + 0.05 * rng.standard_normal(5)
        if upset == "pressed" and past >= 0:
            read[0] += (depth_weights(np.full(2, 0.02)) * plot.state.soil_c).sum(axis=0)[
                0
            ] - plot.state.air_c[0]
        north, lane, north_soil, lane_soil, out = np.round(read, 2)
        if upset == "swapped" and past >= 0:
            north, lane = lane, north
        rows.append((north, north_soil, lid[0], lane, lane_soil, lid[1], out))
    return np.array(rows)


def watched(values, rows_at_once=360):
    """Briefs' boxes that are known less surely, widths of night forecasts, alarms, and why boxes were doubted
    at the end of each piece: all by day and box."""
    plan = garden()
    doubts = []
    ids = tuple(probe.id for probe in plan.probes)
    state, unsure, widths, alarms = begin(plan), [], [], []
    for first in range(0, len(values), rows_at_once):
        part = values[first : first + rows_at_once]
        block = Block(START_S + 60 * first, 60, ids, part, np.zeros(part.shape, dtype=np.uint16))
        state, said = advance(state, block)
        unsure += [
            (_day(brief.issued_s), line.box)
            for brief in said.briefs
            for line in brief.lines
            if "less surely" in line.reason
        ]
        widths += [(_day(f.issued_s), f.box, f.high_c - f.low_c) for f in said.nights]
        alarms += [
            (_day(c.alarm.raised_s), c.alarm.box, c.alarm.kind) for c in said.changes if c.event == "raised"
        ]
        doubts += [(_day(block.stop_s - 60), now.box, now.doubt) for now in said.now if now.doubt]
    return unsure, widths, alarms, doubts


def _day(time_s):
    return (time_s - START_S) / 86_400


def width(widths, box, first, last):
    return np.mean([w for day, name, w in widths if name == box and first <= day < last])


@pytest.fixture(scope="module")
def emptied():
    return watched(lived("emptied"))


@pytest.mark.slow
def test_an_emptied_box_is_noticed_and_allowed_for(emptied):
    """Said within three days, and not before; its night intervals widen; its neighbour's do not."""
    unsure, widths, _, doubts = emptied
    assert {box for _, box in unsure} == {"north"}
    assert UPSET_DAY < min(day for day, _ in unsure) < UPSET_DAY + 4
    assert {(box, doubt) for _, box, doubt in doubts} == {("north", "changed")}
    for box, grows in (("north", True), ("lane", False)):
        before = width(widths, box, UPSET_DAY - 2, UPSET_DAY)
        after = max(width(widths, box, day, day + 1) for day in range(UPSET_DAY + 1, DAYS - 1))
        assert bool(after > 1.2 * before) == grows


@pytest.mark.slow
def test_an_emptied_box_is_watched_all_along(emptied):
    """Doubt silences nothing: frost and heat are told of after it as before."""
    _, _, alarms, _ = emptied
    for first, last in ((0, UPSET_DAY), (UPSET_DAY + 1, DAYS)):
        kinds = {kind for day, box, kind in alarms if box == "north" and first <= day < last}
        assert kinds & {"frost", "frost-ahead"}


@pytest.mark.slow
def test_probes_that_changed_boxes_are_noticed_within_two_days():
    """The box that gets the livelier neighbour's air."""
    unsure, *_ = watched(lived("swapped"))
    assert UPSET_DAY < min(day for day, _ in unsure) < UPSET_DAY + 2


@pytest.mark.slow
def test_boxes_left_alone_are_never_called_unsure():
    """Twelve days of lids opened and shut: no brief speaks of doubt, no warning is of a loose lid."""
    unsure, _, alarms, doubts = watched(lived("left alone"))
    assert unsure == []
    assert doubts == []
    assert not {kind for _, _, kind in alarms} & {"lid-loose", "probe-disagrees"}


@pytest.mark.slow
def test_a_probe_pressed_into_the_bed_is_told_of_after_one_night_and_not_taken_for_normal():
    """One alarm, of that box, by the next morning; still doubted five days later, with wider nights."""
    values = lived("pressed")
    unsure, widths, alarms, doubts = watched(values)
    told = [(day, box) for day, box, kind in alarms if kind == "probe-disagrees"]
    assert [box for _, box in told] == ["north"]
    assert UPSET_DAY + 0.4 < told[0][0] < UPSET_DAY + 1.3
    assert {box for _, box in unsure} == {"north"}
    assert (DAYS - 0.25, "north", "pressed") in [
        (round(day * 4) / 4, box, doubt) for day, box, doubt in doubts
    ]
    before = width(widths, "north", UPSET_DAY - 2, UPSET_DAY)
    assert width(widths, "north", UPSET_DAY + 3, DAYS) > 1.2 * before
    # However the rows are cut, the same is said.
    assert watched(values, rows_at_once=517)[:3] == (unsure, widths, alarms)


@pytest.mark.slow
def test_a_mat_nobody_told_of_is_told_of_on_the_next_day():
    """The box that hardly warms, by the evening brief of the next day; its neighbour is left alone."""
    unsure, _, alarms, doubts = watched(lived("mat"))
    told = [(day, box) for day, box, kind in alarms if kind == "probe-disagrees"]
    assert {box for _, box in told} == {"north"}
    assert UPSET_DAY < told[0][0] < UPSET_DAY + 1.75
    assert {box for _, box in unsure} == {"north"}
    assert {box for _, box, doubt in doubts if doubt == "dimmed"} == {"north"}


@pytest.mark.slow
def test_two_cans_of_cold_water_are_known_for_what_they_are():
    """Doubted as watered within minutes and for some hours, said in that evening's brief; no alarm of it."""
    values = lived("watered")
    unsure, _, alarms, doubts = watched(values)
    assert {(box, doubt) for _, box, doubt in doubts} == {("lane", "watered")}
    days = [day for day, _, _ in doubts]
    assert UPSET_DAY + 0.5 < min(days) <= max(days) < UPSET_DAY + 1.0
    assert {box for _, box in unsure} <= {"lane"}
    _, _, undisturbed, _ = watched(lived("left alone"))
    kinds = {kind for _, _, kind in alarms}
    assert kinds <= {kind for _, _, kind in undisturbed}
