"""A box that is emptied, or whose probe hangs in another box: noticed, said, allowed for; others untouched.

Boxes of `propstick.simulation`, which shares no equation with the model, under invented weather; lids are
shown by contacts. A lid nobody shows is judged by its nights alone, which show less.
"""

from dataclasses import replace
from datetime import UTC, date, datetime, time

import numpy as np
import pytest

from propstick.blocks import Block
from propstick.engine.pipeline import advance, begin
from propstick.garden import Box, CropLimits, Garden, Person, Probe, Site, Sowing
from propstick.simulation.boxes import Frames
from propstick.simulation.frame import FrameSpec
from propstick.simulation.garden import Garden as Plot
from propstick.simulation.skies import CLEAR, SkyKnobs
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
        plot.advance(lid, np.zeros(2))
        soil = plot.frames.at_probe(plot.state.soil_c)
        read = np.array([*plot.state.air_c, *soil, weather.air_c[row]]) + 0.05 * rng.standard_normal(5)
        north, lane, north_soil, lane_soil, out = np.round(read, 2)
        if upset == "swapped" and row >= UPSET_DAY * DAY_ROWS + 600:
            north, lane = lane, north
        rows.append((north, north_soil, lid[0], lane, lane_soil, lid[1], out))
    return np.array(rows)


def watched(values):
    """Briefs' boxes that are known less surely, widths of night forecasts, and alarms, by day and box."""
    plan = garden()
    ids = tuple(probe.id for probe in plan.probes)
    state, unsure, widths, alarms = begin(plan), [], [], []
    for first in range(0, len(values), 360):
        part = values[first : first + 360]
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
    return unsure, widths, alarms


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
    unsure, widths, _ = emptied
    assert {box for _, box in unsure} == {"north"}
    assert UPSET_DAY < min(day for day, _ in unsure) < UPSET_DAY + 4
    for box, grows in (("north", True), ("lane", False)):
        before = width(widths, box, UPSET_DAY - 2, UPSET_DAY)
        after = max(width(widths, box, day, day + 1) for day in range(UPSET_DAY + 1, DAYS - 1))
        assert bool(after > 1.2 * before) == grows


@pytest.mark.slow
def test_an_emptied_box_is_watched_all_along(emptied):
    """Doubt silences nothing: frost and heat are told of after it as before."""
    _, _, alarms = emptied
    for first, last in ((0, UPSET_DAY), (UPSET_DAY + 1, DAYS)):
        kinds = {kind for day, box, kind in alarms if box == "north" and first <= day < last}
        assert kinds & {"frost", "frost-ahead"}


@pytest.mark.slow
def test_probes_that_changed_boxes_are_noticed_within_two_days():
    """The box that gets the livelier neighbour's air."""
    unsure, _, _ = watched(lived("swapped"))
    assert UPSET_DAY < min(day for day, _ in unsure) < UPSET_DAY + 2


@pytest.mark.slow
def test_boxes_left_alone_are_never_called_unsure():
    """Twelve days of lids opened and shut: no brief speaks of doubt, no warning is of a loose lid."""
    unsure, _, alarms = watched(lived("left alone"))
    assert unsure == []
    assert "lid-loose" not in {kind for _, _, kind in alarms}
