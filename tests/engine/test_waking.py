"""What wakes a person at night: a frost 2 °C below what was last said of the night, by brief or by notice."""

from dataclasses import replace
from datetime import date

import pytest

from propstick.engine.conditions import Subject
from propstick.engine.desk import Desk, Moment
from propstick.engine.notices import tell
from propstick.engine.schedule import day_of
from propstick.engine.standing import Standing
from propstick.garden import Box
from propstick.records import Alarm

MONDAY_S = 1_772_409_600
NOTHING_SOON = ()


@pytest.fixture
def moment(lone):
    """A row of the night from Monday to Tuesday: hours after Monday's midnight, air, minimum foreseen."""

    def at(hour, *, air_c, foreseen_c=None):
        time_s = MONDAY_S + round(3600 * hour)
        return Moment(
            time_s=time_s,
            day=day_of(lone, date(2026, 3, 2) if hour < 24 else date(2026, 3, 3)),
            garden=lone,
            soon=lambda: NOTHING_SOON,
            lid={},
            air_c={"north": air_c},
            foreseen_c={} if foreseen_c is None else {"north": foreseen_c},
        )

    return at


def _standing(kind, hour, *, value_c, box="north"):
    at_s = MONDAY_S + round(3600 * hour)
    alarm = Alarm(
        id=f"{box}.{kind}.1", box=box, kind=kind, state="unacknowledged", raised_s=at_s, begun_s=at_s,
        value_c=value_c, limit_c=1.0,
    )  # fmt: skip
    return Standing(
        kind=kind, subject=Subject(box), state="unacknowledged", active=True, begun_s=at_s, alarm=alarm
    )


def _told(desk, standings, moment):
    desk, _, notices = tell(desk, standings if isinstance(standings, list) else [standings], moment)
    return desk, [notice.text for notice in notices]


def test_what_a_notice_said_is_what_the_night_is_held_against(moment):
    """The brief said -0.7, a notice at 20:28 said -2: at -2.8 nobody is woken, at -4 somebody is."""
    brief = Desk().with_said({"north": -0.7}, MONDAY_S + 17 * 3600)
    ahead = _standing("frost-ahead", 19, value_c=-0.8)
    desk, said = _told(brief, ahead, moment(20.47, air_c=3.0, foreseen_c=-2.0))
    assert said == ["Close and cover north for the night: will fall below 1 °C (about −2.0 °C expected)"]
    frost = _standing("frost", 21, value_c=0.9)
    assert _told(desk, frost, moment(27.1, air_c=-2.8))[1] == []
    assert _told(desk, frost, moment(29.0, air_c=-4.0))[1] == [
        "Close and cover north now: −4.0 °C, under 1 °C"
    ]
    # Without that notice the brief's figure is what was said.
    assert _told(brief, frost, moment(27.1, air_c=-2.8))[1] != []


def test_a_warning_nobody_got_says_nothing(moment):
    """The brief asked for the lid already: a night foreseen a little colder is no notice of its own."""
    asked = Desk().with_said({"north": -0.7}, MONDAY_S + 17 * 3600)
    asked = asked.with_asked({"north": -0.7}, MONDAY_S + 17 * 3600)
    ahead = _standing("frost-ahead", 19, value_c=-1.5)
    desk, said = _told(asked, ahead, moment(20.0, air_c=3.0, foreseen_c=-1.5))
    assert (said, desk.said["north"].min_c) == ([], -0.7)


def test_once_woken_is_enough_for_a_night(moment):
    desk = Desk().with_said({"north": 1.0}, MONDAY_S + 17 * 3600)
    frost = _standing("frost", 25, value_c=0.9)
    desk, said = _told(desk, frost, moment(26.0, air_c=-1.5))
    assert len(said) == 1
    other = replace(_standing("frost", 27, value_c=0.9), subject=Subject("lane"))
    assert _told(desk, other, moment(27.5, air_c=-3.0))[1] == []


def test_who_goes_out_for_one_box_shuts_them_all(lone, moment):
    """The brief asked for both; one is foreseen two degrees colder now, the other hardly: one notice."""
    said = {"north": 0.8, "lane": 1.0}
    desk = Desk().with_asked(said, MONDAY_S + 17 * 3600)
    two = replace(lone, boxes=(*lone.boxes, Box(name="lane")))
    evening = replace(moment(21, air_c=5.0), garden=two, foreseen_c={"north": -1.5, "lane": 0.4})
    north, lane = (_standing("frost-ahead", 19, value_c=said[box], box=box) for box in ("north", "lane"))
    assert _told(desk, lane, evening)[1] == []
    desk, notices = _told(desk, [lane, north], evening)
    assert notices == [
        "Close and cover north and lane for the night: will fall below 1 °C (about −1.5 and 0.4 °C expected)"
    ]
    assert (desk.said["north"].min_c, desk.said["lane"].min_c) == (-1.5, 0.4)
    # A box that is shut and covered has nothing left to be done.
    shut = replace(evening, covered=frozenset(["lane"]))
    assert [text[:29] for text in _told(Desk(), [lane, north], shut)[1]] == ["Close and cover north for the"]


def test_who_is_woken_for_one_box_sees_to_all_that_freeze(lone, moment):
    two = replace(lone, boxes=(*lone.boxes, Box(name="lane")))
    night = replace(moment(28, air_c=-2.4), garden=two, air_c={"north": -2.4, "lane": -0.6})
    desk = Desk().with_said({"north": 0.0, "lane": 0.0}, MONDAY_S + 17 * 3600)
    north, lane = (_standing("frost", 25, value_c=0.9, box=box) for box in ("north", "lane"))
    assert _told(desk, lane, night)[1] == []
    assert _told(desk, [lane, north], night)[1] == [
        "Close and cover north and lane now: −2.4 and −0.6 °C, under 1 °C"
    ]


def test_a_box_that_only_may_freeze_is_no_second_notice_of_the_night(lone, moment):
    """Whether or not the brief has asked for it."""
    two = replace(lone, boxes=(*lone.boxes, Box(name="lane")))
    north, lane = (_standing("frost-ahead", 19, value_c=2.0, box=box) for box in ("north", "lane"))
    first = replace(moment(19, air_c=5.0), garden=two, foreseen_c={"north": 0.2})
    later = replace(moment(20.5, air_c=5.0), garden=two, foreseen_c={"lane": 1.7})
    for desk in (Desk(), Desk().with_asked({"lane": 3.0}, MONDAY_S + 17 * 3600)):
        desk, notices = _told(desk, north, first)
        assert len(notices) == 1
        assert _told(desk, lane, later)[1] == []
        assert len(_told(desk, lane, replace(later, foreseen_c={"lane": -0.5}))[1]) == 1
