"""The calendar of a local date."""

from dataclasses import replace
from datetime import date, time

import pytest

from propstick.engine.schedule import day_of, sun_on
from propstick.garden import NoticeSettings, Person, Site
from propstick.times import at_local


def test_bed_after_midnight_belongs_to_the_evening_before(lone):
    """Bed at 00:30: the first half hour of the date is not quiet yet."""
    garden = replace(lone, person=Person(bed=time(0, 30), rises=time(7)))
    day = day_of(garden, date(2026, 3, 2))
    assert [day.is_quiet(day.start_s + 60 * m) for m in (0, 29, 30, 419, 420)] == [
        False,
        False,
        True,
        True,
        False,
    ]


def test_quiet_hours_of_their_own_go_before_bed_and_rising(lone):
    """The [push] hours, where set."""
    garden = replace(lone, notices=NoticeSettings(quiet_from=time(20), quiet_until=time(8)))
    day = day_of(garden, date(2026, 3, 2))
    assert [day.is_quiet(day.start_s + 3600 * h) for h in (7, 8, 19, 20)] == [True, False, False, True]


def test_away_only_on_away_days(lone):
    """Weekdays by default, the weekend at home."""
    garden = replace(lone, person=Person(leaves=time(8), back=time(17)))
    monday, sunday = day_of(garden, date(2026, 3, 2)), day_of(garden, date(2026, 3, 1))
    assert monday.is_away(monday.start_s + 9 * 3600)
    assert not sunday.is_away(sunday.start_s + 9 * 3600)
    assert monday.morning_s == at_local(date(2026, 3, 2), time(7, 30), "Etc/UTC")


@pytest.mark.parametrize(("day", "light"), [(date(2026, 6, 21), True), (date(2026, 12, 21), False)])
def test_polar_day_and_night(lone, day, light):
    """At 68.6 N the sun does not set at midsummer, nor rise at midwinter; briefs go by the clock."""
    garden = replace(lone, site=Site(latitude=68.62, longitude=-149.61, zone="Etc/UTC"))
    sun = sun_on(garden.site, day)
    assert not sun.sets
    assert (sun.set_s - sun.rise_s >= 86_400) is light
    assert day_of(garden, day).evening_s == at_local(day, time(18), "Etc/UTC")


def test_without_a_position_the_clock_stands_in(lone):
    """18:00, or an hour before an early bed."""
    garden = replace(lone, site=Site(), person=Person(bed=time(18, 30)))
    assert day_of(garden, date(2026, 3, 2)).evening_s == at_local(date(2026, 3, 2), time(17, 30), None)
