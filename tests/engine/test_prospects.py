"""From forecasts to the lines of a brief: what a box is, and how well it is known, decides what is asked."""

from dataclasses import replace
from datetime import date, time

import numpy as np
import pytest

from propstick.blocks import PlaceRows
from propstick.engine.day import DayMaximum
from propstick.engine.layout import limits_on
from propstick.engine.night import NightMinimum
from propstick.engine.pipeline import begin
from propstick.engine.prospects import Seen, evening_lines, morning_lines
from propstick.engine.schedule import day_of
from propstick.engine.shelter import Gains
from propstick.garden import Box, Person, Probe, Site
from propstick.news import LidTold

MONDAY = date(2026, 3, 2)
HALF_PAST_SEVEN_S = 1_772_409_600 + 27_000


def one_row(*, air_c, outside_c, lid):
    one, nan = np.ones((1, 1)), np.full((1, 1), np.nan)
    return PlaceRows(
        time_s=np.array([HALF_PAST_SEVEN_S]),
        outside_air_c=np.array([outside_c]),
        outside_soil_c=np.array([np.nan]),
        outside_humidity_pct=np.array([np.nan]),
        air_c=air_c * one,
        soil_c=nan,
        humidity_pct=95.0 * one,
        moisture_pct=nan,
        lid=lid * one,
        cover=0.0 * one,
        fresh=one.astype(bool),
    )


@pytest.fixture
def asked(lone):
    """The line of the morning brief of one box, for the maxima foreseen shut, propped and open."""
    away = replace(lone, person=Person(leaves=time(8), back=time(17)))

    def ask(*max_c, air_c=6.0, outside_c=6.0, lid=0.0, damp=False, untried=False, box=None):
        garden = replace(away, boxes=(box or Box(name="north"),))
        rows = one_row(air_c=air_c, outside_c=outside_c, lid=lid)
        maxima = np.array([*max_c, max_c[0]])[:, None]
        forecast = DayMaximum(maxima, maxima - 4, maxima + 4, 2.4 * np.ones((4, 1)), 12.0, ("model",) * 4)
        seen = Seen(
            row=0,
            lid=np.array([lid]),
            damp=np.array([damp]),
            fits=np.array([True]),
            untried=np.array([untried]),
        )
        limits = limits_on(garden, MONDAY)
        lines = morning_lines(
            garden, day_of(garden, MONDAY), seen, rows=rows, limits=limits, forecast=forecast
        )
        return lines[0] if lines else None

    return ask


def test_the_deed_its_opening_and_its_time_agree(asked):
    """What is to be done has an opening and the hour of leaving; what is left alone has neither."""
    leaves_s = HALF_PAST_SEVEN_S + 1800
    lines = [asked(40, 30, 16), asked(25, 18, 12), asked(14, 11, 9)]
    assert [(line.advice, line.opening, line.by_s) for line in lines] == [
        ("open", 1.0, leaves_s),
        ("prop", 0.1, leaves_s),
        ("leave", None, None),
    ]


def test_a_box_never_seen_in_the_sun_is_aired_before_a_day_away(asked):
    """19 °C is foreseen shut; on the first day that may be far too little, later it is not."""
    assert asked(19, 14, 9).advice == "leave"
    line = asked(19, 14, 9, untried=True)
    assert (line.advice, line.opening) == ("prop", 0.1)
    assert "as much as 31 °C" in line.reason


def test_a_damp_box_is_aired_once(asked):
    """Damp and mild: aired; already aired, frosty outside or dry: left."""
    assert asked(14, 11, 9, damp=True).advice == "air"
    assert asked(14, 11, 9, damp=True, lid=0.1).advice == "leave"
    assert asked(14, 11, 9, damp=True, outside_c=1.0).advice == "leave"
    assert asked(14, 11, 9).advice == "leave"


def test_a_wax_arm_is_left_to_its_work_and_a_sliding_lid_is_moved(asked):
    assert asked(40, 30, 16, box=Box(name="north", arm_opens_c=22.0)).advice == "leave"
    assert asked(25, 18, 12, box=Box(name="north", lid_kind="sliding")).advice == "prop"


def test_a_silent_box_is_not_mentioned(asked):
    assert asked(40, 30, 16, air_c=np.nan) is None


@pytest.mark.parametrize(
    ("air_c", "lid", "said"),
    [
        (np.nan, 0.1, ("close", "no reading, and its lid is open")),
        (np.nan, 0.0, None),
        (np.nan, np.nan, None),
        (6.0, 0.0, ("leave", "no forecast yet")),
        (6.0, 0.1, ("close", "no forecast yet")),
    ],
)
def test_before_a_night_of_which_nothing_is_foreseen_open_lids_are_to_be_shut(lone, air_c, lid, said):
    """Also where the probe is silent: a box propped in the morning would stand open through the frost."""
    column = np.full(2, np.nan)
    tonight = NightMinimum(*[column] * 5, ("none",) * 2, Gains(np.zeros(1), np.zeros(1)))
    no, yes = np.zeros(1, dtype=bool), np.ones(1, dtype=bool)
    seen = Seen(row=0, lid=np.array([lid]), damp=no, fits=yes, untried=no)
    lines = evening_lines(
        lone,
        day_of(lone, MONDAY),
        seen,
        rows=one_row(air_c=air_c, outside_c=2.0, lid=lid),
        limits=limits_on(lone, MONDAY),
        tonight=tonight,
    )
    assert [(line.advice, line.reason) for line in lines] == ([] if said is None else [said])


@pytest.mark.slow
def test_two_damp_days_and_not_one_ask_for_air(lone, feed, table):
    """Three dull, mild winter days at 95 %: the third morning asks for air, the second does not yet."""
    garden = replace(
        lone,
        site=Site(latitude=60.0, longitude=0.0, zone="Etc/UTC"),
        probes=(
            *lone.probes,
            Probe(id="damp", box="north", place="humidity"),
            Probe(id="out", box="outside", place="air"),
        ),
    )
    start_s = 1_767_916_800  # 2026-01-09T00:00:00Z
    n = 3 * 1440
    noise = 0.06 * (np.arange(n) % 5)
    columns = {"air": 7.0 + noise, "damp": 95.0 + noise, "out": 6.5 + noise}
    told = [LidTold(time_s=start_s, box="north", opening=0.0)]
    said = feed(begin(garden), [table(start_s, 60, columns)], told)
    mornings = [brief.lines[0].advice for brief in said.briefs if brief.which == "morning"]
    assert [advice == "air" for advice in mornings] == [False, False, True]
