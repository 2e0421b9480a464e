"""A probe that reads in coarse steps: how much of a minute is rounding; no lid is called loose for it."""

from datetime import UTC, datetime

import numpy as np
import pytest

from propstick.blocks import Block
from propstick.engine.grain import finest_step_c, rounding_sd_c
from propstick.engine.pipeline import advance, begin
from propstick.garden import Box, Garden, Probe, Site
from propstick.simulation.frame import FrameSpec
from propstick.simulation.garden import Garden as Plot
from propstick.simulation.skies import CLEAR, SkyKnobs
from propstick.simulation.weather import Climate, invented

DAYS = 7
START_S = int(datetime(2026, 3, 10, tzinfo=UTC).timestamp())
NAMES = ("north", "lane")


@pytest.mark.parametrize("step_c", [0.0625, 0.5, 1.0])
def test_the_rounding_of_a_difference_is_as_the_guide_to_uncertainty_has_it(step_c):
    """JCGM 100:2008 F.2.2.1: u = 0.29 δx of one reading; √2 times that of the difference of two. Ten
    thousand differences of rounded readings agree to some per cent."""
    true_c = np.random.default_rng(3).uniform(-20.0, 20.0, 20_000)
    off_c = np.round(true_c / step_c) * step_c - true_c
    drawn = np.std(off_c[1::2] - off_c[::2])
    [sd_c] = rounding_sd_c(np.array([step_c]))
    assert sd_c == pytest.approx(0.29 * np.sqrt(2.0) * step_c, rel=0.01)
    assert sd_c == pytest.approx(drawn, rel=0.03)


def test_a_step_is_known_once_the_air_has_moved():
    """Before that, and where changes are no grain, nothing is added."""
    nothing, wide = rounding_sd_c(np.array([np.inf, 4.0]))
    assert (nothing, wide) == (0.0, 0.0)
    air = np.array([[5.0], [5.0], [np.nan], [5.5], [6.0], [7.0]])
    found = finest_step_c(air, np.array([np.inf]), newest=5)
    np.testing.assert_array_equal(found[:, 0], [np.inf, np.inf, np.inf, 0.5, 0.5])
    np.testing.assert_array_equal(finest_step_c(air[3:], np.array([0.25]), newest=2)[:, 0], [0.25, 0.25])


@pytest.fixture(scope="module")
def week():
    """A clear week of two boxes, one of them aired by day: true air of both, then outside."""
    sky = SkyKnobs(clear_h=40.0, first=CLEAR, spread=0.15)
    climate = Climate(year_mean_c=10.0, spell_sd_c=1.5, wind_m_s=1.5, sky=sky)
    weather = invented(51.0, 0.0, start_s=START_S, days=DAYS, seed=11, climate=climate)
    plot = Plot(weather, [FrameSpec.draw(20 + k, name=name) for k, name in enumerate(NAMES)])
    rows = []
    for row in range(len(weather)):
        aired = 0.3 if 540 <= row % 1440 < 1000 else 0.0
        plot.advance(np.array([aired, 0.0]), np.zeros(2))
        rows.append([*plot.state.air_c, weather.air_c[row]])
    return np.array(rows)


def loose_alarms(values):
    """Alarms that a box stopped holding heat; nobody shows a lid."""
    probes = tuple(Probe(id=name, box=name, place="air") for name in (*NAMES, "outside"))
    site = Site(name="plot", latitude=51.0, longitude=0.0, zone="Europe/London")
    plan = Garden(site=site, boxes=tuple(Box(name=name) for name in NAMES), probes=probes)
    state, alarms = begin(plan), set()
    for first in range(0, len(values), 1440):
        part = values[first : first + 1440]
        flags = np.zeros(part.shape, dtype=np.uint16)
        block = Block(START_S + 60 * first, 60, (*NAMES, "outside"), part, flags)
        state, said = advance(state, block)
        alarms |= {change.alarm.id for change in said.changes if change.alarm.kind == "lid-loose"}
    return alarms


@pytest.mark.slow
@pytest.mark.parametrize("step_c", [0.5, 5.0 / 9.0, 1.0])
def test_shut_boxes_read_in_coarse_steps_are_not_called_loose(week, step_c):
    """Half degrees, whole °F, whole °C: 15, 27 and 25 alarms in this week before."""
    noise = 0.03 * np.random.default_rng(1).standard_normal(week.shape)
    assert not loose_alarms(np.round((week + noise) / step_c) * step_c)
