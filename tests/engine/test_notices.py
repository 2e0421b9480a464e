"""Who is told what, when, and how often."""

from dataclasses import replace
from datetime import time

import numpy as np
import pytest

from propstick.garden import Box, NoticeSettings, Person, Probe, Sowing
from propstick.news import Acknowledged, CoverTold, LidTold, Shelved

MONDAY_S = 1_772_409_600
NOON_S = MONDAY_S + 12 * 3600


@pytest.fixture
def two(lone):
    """Two boxes, one air probe each."""
    return replace(
        lone,
        boxes=(Box(name="north"), Box(name="lane")),
        probes=(*lone.probes, Probe(id="lane", box="lane", place="air")),
        sowings=(Sowing(id="1", box="north"), Sowing(id="2", box="lane")),
    )


def noise(values):
    return [v + 0.06 * (k % 3) for k, v in enumerate(values)]


def test_two_boxes_that_cross_together_make_one_notice(two, live):
    """The same hand, the same minute: one notice names both."""
    said = live(
        noise([25.0] * 20 + [28.0] * 60), garden=two, columns={"lane": noise([24.0] * 20 + [27.5] * 60)}
    )
    assert said.kinds() == ["heat", "heat"]
    assert [n.boxes for n in said.notices] == [("north", "lane")]
    assert said.notices[0].text == "Open north and lane now: 28.1 and 27.6 °C, over 27 °C"


def test_a_box_on_its_way_is_named_and_not_told_of_again(two, live):
    """The second box rises towards its limit: the first notice says so, its own alarm needs none."""
    north = noise([25.0] * 20 + [28.0] * 80)
    lane = list(np.round(22 + np.arange(100) * 0.07, 2))
    said = live(north, garden=two, columns={"lane": lane})
    assert said.kinds() == ["heat", "heat"]
    (notice,) = said.notices
    assert notice.boxes == ("north", "lane")
    assert "lane by 13:10" in notice.text
    lane_alarm = next(change.alarm for change in said.of("heat") if change.alarm.box == "lane")
    lead = (lane_alarm.begun_s - notice.issued_s) / 60
    assert lead > 30
    assert lane_alarm.lead_minutes == lead


def test_an_alarm_that_stands_is_told_once(live):
    """Three hours over the limit: one notice."""
    assert len(live(noise([29.0] * 180)).notices) == 1


def test_the_plan_escalates_until_somebody_answers(lone, live):
    """Told again after 15 and 45 minutes; an acknowledgement ends it."""
    plan = replace(lone, notices=NoticeSettings(escalation_minutes=(15, 45, 90)))
    raised_s = NOON_S + 120
    seen = Acknowledged(time_s=raised_s + 60 * 60, alarm_id="north.heat.20260302T120200Z")
    said = live(noise([29.0] * 180), garden=plan, news=[seen])
    assert [(n.issued_s - raised_s, n.escalation) for n in said.notices] == [(0, 0), (900, 1), (2700, 2)]
    assert said.notices[1].id == "20260302T121700Z.north.heat.20260302T120200Z.e1"
    assert [c.event for c in said.changes if c.event in ("escalated", "acknowledged")] == [
        "escalated",
        "escalated",
        "acknowledged",
    ]


def test_shelved_is_silent_until_its_time(lone, live):
    """On the shelf nothing is told; when the time is up and it still stands, it is."""
    plan = replace(lone, notices=NoticeSettings(escalation_minutes=(30,)))
    shelf = Shelved(time_s=NOON_S + 600, alarm_id="north.heat.20260302T120200Z", until_s=NOON_S + 3600)
    said = live(noise([29.0] * 90), garden=plan, news=[shelf])
    assert [c.event for c in said.changes if c.alarm.shelved_until_s or c.event == "unshelved"] == [
        "shelved",
        "unshelved",
    ]
    assert [n.issued_s for n in said.notices] == [NOON_S + 120, NOON_S + 3600]


def test_the_night_is_for_sleeping_but_an_untold_frost_wakes_once(two, live):
    """Between bed and rising a frost nobody spoke of is told of once; heat waits for the morning."""
    frost = noise([3.0] * 10 + [0.4] * 200)
    later = noise([3.0] * 90 + [0.2] * 120)
    said = live(frost, garden=two, start_s=MONDAY_S + 23 * 3600, columns={"lane": later})
    assert said.kinds() == ["frost", "frost"]
    assert [n.boxes for n in said.notices] == [("north",)]
    hot = live(noise([29.0] * 120), start_s=MONDAY_S + 5 * 3600 + 1800)
    assert [n.issued_s for n in hot.notices] == [MONDAY_S + 6 * 3600 + 1800]


def test_a_frost_the_evening_brief_spoke_of_wakes_only_when_it_is_worse(live):
    """The brief asked for a cover; at the limit nothing is new, two degrees below it is."""
    air = noise([3.0] * 600 + [0.5] * 240 + [-1.5] * 60)  # from noon; brief about 16:45, frost at 22:00
    said = live(air)
    assert said.briefs[0].lines[0].advice == "cover"
    assert [n.issued_s for n in said.notices] == [NOON_S + 60 * 840]


def test_nothing_is_asked_of_a_box_that_is_shut_and_covered(live):
    """A notice asks for something to be done."""
    news = [LidTold(time_s=NOON_S, box="north", opening=0.0), CoverTold(time_s=NOON_S, box="north", on=True)]
    assert live(noise([0.0] * 60), news=news).notices == ()
    open_lid = [LidTold(time_s=NOON_S, box="north", opening=1.0)]
    assert live(noise([29.0] * 60), news=open_lid).notices[0].text.startswith("Shade north")


@pytest.mark.parametrize(
    ("air_c", "opening", "covered", "left"),
    [
        (0.0, None, None, "close and cover it."),
        (0.0, 0.3, None, "close and cover it."),
        (0.0, 0.0, False, "cover it."),
        (0.0, 0.0, True, "lay more over it."),
        (29.0, 0.3, None, "open it."),
        (29.0, 1.0, None, "shade it."),
    ],
)
def test_an_alarm_says_what_is_left_to_do(live, air_c, opening, covered, left):
    """Nobody is sent to shut a lid that is known to be shut."""
    news = [] if opening is None else [LidTold(time_s=NOON_S, box="north", opening=opening)]
    news += [] if covered is None else [CoverTold(time_s=NOON_S, box="north", on=covered)]
    changes = live(noise([air_c] * 60), news=news).changes
    said = {c.alarm.message.partition(": ")[2] for c in changes if c.alarm.kind in ("heat", "frost")}
    assert said == {left}


def test_away_the_person_is_told_once_a_day_and_a_helper_each_time(lone, live):
    """At work one message is enough to fret about; a helper can act."""
    away = replace(lone, person=Person(leaves=time(8), back=time(19)))
    twice = noise([29.0] * 30 + [20.0] * 150 + [29.0] * 30)
    assert [n.to for n in live(twice, garden=away).notices] == ["person"]
    helped = replace(away, person=replace(away.person, helper="neighbour"))
    assert [n.to for n in live(twice, garden=helped).notices] == ["neighbour", "neighbour"]


def test_a_dead_probe_waits_for_the_brief_unless_a_limit_is_near(live):
    """Silence in mid-range is said before dusk; silence at 25 °C in the sun at once."""
    calm = live(noise([15.0] * 30) + [np.nan] * 330)
    assert calm.kinds() == ["probe-silent"]
    assert calm.notices == ()
    assert "gives no reading" in calm.briefs[0].text
    hot = live(noise([25.0] * 30) + [np.nan] * 60)
    assert [n.kinds for n in hot.notices] == [("probe-silent",)]
    assert "last 25.1 °C, limit 27 °C" in hot.notices[0].text


def test_the_end_is_told_only_to_who_asked(lone, live):
    """Return to normal is silent by default."""
    air = noise([29.0] * 10 + [22.0] * 30)
    assert len(live(air).notices) == 1
    asked = replace(lone, notices=NoticeSettings(notify_return=True))
    assert [n.text for n in live(air, garden=asked).notices][1] == "north: heat is over at 12:15"


def test_notices_fit_and_say_box_and_deed(two, live):
    """At most 160 characters with sixteen boxes of long names."""
    names = [f"far-end-of-the-orchard-{k}" for k in range(16)]
    many = replace(
        two,
        boxes=tuple(Box(name=n) for n in names),
        probes=tuple(Probe(id=n, box=n, place="air") for n in ["air", *names][1:]),
        sowings=tuple(Sowing(id=n, box=n) for n in names),
    )
    hot = noise([29.0] * 30)
    said = live(hot, garden=many, columns=dict.fromkeys(names, hot))
    assert len(said.notices) == 1
    assert said.notices[0].text == "Open 16 boxes now"
