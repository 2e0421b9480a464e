"""The two briefs of a day: when they come, and what they say without a forecast."""

from dataclasses import replace
from datetime import time

import numpy as np

from propstick.garden import Garden, Person, Probe, Site
from propstick.limits import Limits
from propstick.news import LidTold
from propstick.times import local, utc_text

MONDAY_S = 1_772_409_600


def wave(days, base=12.0):
    return [base + 0.06 * (k % 5) for k in range(days * 1440)]


def test_briefs_come_once_a_date_also_when_the_clocks_change(lone, live):
    """In March and October of 2026 Dublin's clocks change on the 29th and 25th: two briefs each day."""
    garden = replace(lone, site=Site(zone="Europe/Dublin"), person=Person(rises=time(6), bed=time(22)))
    for first in (1_774_656_000, 1_792_800_000):  # 2026-03-28, 2026-10-24, both 00:00Z
        said = live(wave(3), garden=garden, start_s=first)
        clock = [(b.which, f"{local(b.issued_s, 'Europe/Dublin'):%d %H:%M}") for b in said.briefs]
        day = local(first, "Europe/Dublin").day
        assert clock == [
            (which, f"{day + k} {at}")
            for k in range(3)
            for which, at in (("morning", "07:00"), ("evening", "18:00"))
        ]


def test_the_morning_brief_comes_before_leaving(lone, live):
    """30 minutes before leaving on an away day, an hour after rising on others; evening by the sun."""
    garden = replace(lone, person=Person(leaves=time(7, 30), back=time(17), away_days=frozenset({0})))
    said = live(wave(2), garden=garden, start_s=MONDAY_S)
    assert [utc_text(b.issued_s) for b in said.briefs if b.which == "morning"] == [
        "2026-03-02T07:00:00Z",
        "2026-03-03T07:30:00Z",
    ]
    # Sunset at 52 N 0 E on 2 March is near 17:45 (published almanac times for Cambridge: 17:43).
    evening = [b.issued_s for b in said.briefs if b.which == "evening"]
    assert abs(evening[0] - (MONDAY_S + 16 * 3600 + 43 * 60)) <= 300


def test_a_watch_that_starts_late_still_speaks_but_not_at_lunch(live):
    """Half an hour late is told, half a day is not."""
    assert [b.which for b in live(wave(1)[:60], start_s=MONDAY_S + 8 * 3600).briefs] == ["morning"]
    assert live(wave(1)[:60], start_s=MONDAY_S + 12 * 3600).briefs == ()


def test_a_day_without_anything_to_do_says_so(live):
    """A missing brief means that the watch is down; so a quiet day is said to be one."""
    (brief,) = live(wave(1)[:60], start_s=MONDAY_S + 7 * 3600).briefs
    assert [line.advice for line in brief.lines] == ["leave"]
    assert brief.text == "Morning: Nothing to do."


def test_the_evening_asks_for_lids_and_covers(live):
    """Near frost: cover; an open lid on a mild evening: close."""
    dusk = MONDAY_S + 16 * 3600 + 1800
    (cold,) = live(wave(1, 3.0)[:60], start_s=dusk).briefs
    assert cold.lines[0].advice == "cover"
    assert cold.text.startswith("Evening: Close and cover north: 3.")
    told = [LidTold(time_s=dusk, box="north", opening=0.4)]
    (mild,) = live(wave(1)[:60], start_s=dusk, news=told).briefs
    assert mild.lines[0].advice == "close"


def test_a_warm_morning_asks_for_the_lid(live):
    """Already past the advice limit at brief time: prop; past the heat limit: open."""
    (warm,) = live(wave(1, 25.0)[:60], start_s=MONDAY_S + 7 * 3600).briefs
    assert warm.lines[0].advice == "prop"
    (hot,) = live(wave(1, 28.0)[:60], start_s=MONDAY_S + 7 * 3600).briefs
    assert hot.lines[0].advice == "open"


def test_a_silent_box_is_not_advised_on(live):
    """No reading, no advice; its probe's silence is what is said."""
    (brief,) = live([np.nan] * 60, start_s=MONDAY_S + 7 * 3600).briefs
    assert brief.lines == ()
    assert "gives no reading" in brief.text


def test_cold_soil_is_told_without_last_nights_reading(lone, live):
    """The soil was at 4.0 °C when the alarm rose and is at 4.9 °C now: neither is today's."""
    garden = replace(
        lone,
        probes=(*lone.probes, Probe(id="soil", box="north", place="soil")),
        limits=Limits(soil_cold_c=5.0),
    )
    soil = [4.0 if k < 60 else 4.9 for k in range(180)]
    said = live(wave(1)[:180], garden=garden, columns={"soil": soil}, start_s=MONDAY_S + 5 * 3600)
    assert said.kinds() == ["soil-cold"]
    assert said.briefs[0].text == "Morning: Nothing to do. Seed waits in north: soil under 5 °C."


def test_a_garden_without_anything_still_has_its_briefs(feed, table):
    """No box, no probe, no position: nothing fails."""
    from propstick.engine.pipeline import begin

    said = feed(begin(Garden(), foresight=False), [table(MONDAY_S, 60, {"stray": wave(1)})])
    assert [b.which for b in said.briefs] == ["morning", "evening"]
