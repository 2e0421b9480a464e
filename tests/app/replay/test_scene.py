"""Which night is drawn, and what of it."""

from dataclasses import replace
from datetime import date

import pytest

from propstick.app.replay.scene import drawn_night, scene_of, worst_night
from propstick.errors import InputError
from propstick.records import Alarm, LidOpening


def test_the_worst_night_is_the_one_nearest_the_frost_limit(spring_report):
    """Also one that was recorded in part: the cold of it was real."""
    for worst in range(len(spring_report.nights)):
        nights = [replace(n, value_c=-5.0 if k == worst else 2.0) for k, n in enumerate(spring_report.nights)]
        assert worst_night(replace(spring_report, nights=tuple(nights))) == nights[worst].date


@pytest.mark.parametrize(
    ("frost_c", "heat_c", "word"), [(1, 27, "lowest"), (-9, 27, "highest"), (-9, 50, "lowest")]
)
def test_of_a_short_stretch_the_minute_over_a_limit_is_marked(spring_report, frost_c, heat_c, word):
    """Frost before heat, and the lowest where neither came."""
    limits = replace(spring_report.garden.limits, frost_c=frost_c, heat_c=heat_c)
    garden = replace(spring_report.garden, limits=limits)
    short = replace(spring_report, garden=garden, to_s=spring_report.from_s + 30 * 3600)
    assert scene_of(short).boxes[0].worst_is == word


def test_a_short_stretch_is_drawn_whole_a_long_one_by_its_worst_night(spring_report):
    """Thirty-six hours are one picture."""
    assert drawn_night(spring_report, None) is not None
    short = replace(spring_report, to_s=spring_report.from_s + 30 * 3600)
    assert drawn_night(short, None) is None
    scene = scene_of(short)
    assert (scene.start_s, scene.end_s) == (short.from_s, short.to_s)
    assert scene.title == "11 to 12 April 2026"


def test_the_night_of_the_what_if_is_the_one_drawn(spring_report):
    """Half past one in the morning belongs to the night that began the day before."""
    asked = replace(spring_report, what_if={"at": "2026-04-13T00:30:00Z"})
    assert drawn_night(asked, None) == date(2026, 4, 12)


def test_scene_of_a_named_night(spring_report):
    """Curves, limits, forecasts, lids, covers, alarms and notices of that night."""
    scene = scene_of(spring_report, date(2026, 4, 11))
    box = scene.boxes[0]
    assert scene.title == "Night of 11 April 2026"
    assert scene.start_s < scene.sunset_s < scene.sunrise_s < scene.end_s
    assert (box.frost_c, box.heat_c) == (1.0, 27.0)
    assert box.worst_is == "lowest"
    assert box.worst_c == min(box.air.value_c) == pytest.approx(spring_report.nights[0].value_c)
    assert len(scene.outside) == len(box.air) == len(box.soil) > 600
    assert box.forecasts
    assert [c.on for c in box.covers][:2] == [False, True]
    assert all(scene.start_s <= n.issued_s <= scene.end_s for n in scene.notices)


def test_an_alarm_that_stood_before_is_shown_one_over_before_is_not(spring_report):
    """What stands during the night belongs to its picture."""
    start_s = scene_of(spring_report, date(2026, 4, 11)).start_s

    def alarm(name, raised_s, returned_s):
        return Alarm(id=name, box="north", kind="frost", state="normal", raised_s=raised_s, begun_s=raised_s,
                     returned_s=returned_s)  # fmt: skip

    alarms = (
        alarm("old", start_s - 9000, start_s - 60),
        alarm("standing", start_s - 9000, None),
        alarm("ends", start_s - 9000, start_s + 60),
        alarm("later", start_s + 90_000, None),
    )
    scene = scene_of(replace(spring_report, alarms=alarms), date(2026, 4, 11))
    assert [a.id for a in scene.boxes[0].alarms] == ["standing", "ends"]


def test_a_night_that_was_not_recorded_is_refused(spring_report):
    """With the first and last there is."""
    with pytest.raises(InputError, match="2026-05-01"):
        scene_of(spring_report, date(2026, 5, 1))


def test_the_curve_of_a_what_if_is_drawn(spring_report):
    """In the panel of its box."""
    curve = [
        {"time": "2026-04-12T01:00:00Z", "air_c": 1.5},
        {"time": "2026-04-12T01:05:00Z", "air_c": 1.25},
    ]
    found = {"box": "north", "action": "open", "curve": curve}
    box = scene_of(replace(spring_report, what_if=found), date(2026, 4, 11)).boxes[0]
    assert box.otherwise.value_c.tolist() == [1.5, 1.25]
    assert box.otherwise_words == "open"


@pytest.mark.parametrize(("known_from", "known"), [("contact", True), ("told", False), ("estimate", False)])
def test_a_lid_a_contact_still_tells_of_is_known_however_long_it_has_not_moved(
    spring_report, known_from, known
):
    """Shut for a week and heard of every minute; a word of a week ago is old."""
    closed = LidOpening(
        box="north", time_s=spring_report.from_s - 7 * 86_400, opening=0.0, known_from=known_from
    )
    scene = scene_of(replace(spring_report, lids=(closed,)), date(2026, 4, 11))
    assert (scene.boxes[0].lids == (closed,)) == known
