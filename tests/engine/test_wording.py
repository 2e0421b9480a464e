"""Figures and times as their reader thinks of them."""

from dataclasses import replace

from propstick.engine.wording import Speech, listed
from propstick.garden import NoticeSettings, Site

NOON_S = 1_772_409_600 + 12 * 3600


def test_fahrenheit_and_the_twelve_hour_clock(lone):
    """80 °F is shown as it was set; measured air in whole degrees; am and pm."""
    speech = Speech(replace(lone, site=Site(unit="F", zone="America/New_York")))
    assert speech.limit(80 / 1.8 - 32 / 1.8) == "80 °F"
    assert speech.measured(28.4) == "83 °F"
    assert speech.difference(5.0) == "9 °F"
    assert (speech.clock(NOON_S), speech.clock(NOON_S + 5 * 3600)) == ("7:00 am", "12:00 pm")


def test_celsius_and_the_whole_day_clock(lone):
    """One decimal for what was measured, no decimal a setpoint does not have, no minus zero."""
    speech = Speech(lone)
    assert (speech.measured(-0.04), speech.measured(-1.26)) == ("0.0 °C", "−1.3 °C")
    assert (speech.limit(27.0), speech.limit(1.5)) == ("27 °C", "1.5 °C")
    assert speech.clock(NOON_S + 5 * 3600) == "17:00"
    assert Speech(replace(lone, notices=NoticeSettings(twelve_hour=True))).clock(NOON_S) == "12:00 pm"


def test_a_decimal_comma_where_it_is_set(lone):
    """Measured air and a setpoint; a whole figure has none."""
    speech = Speech(replace(lone, notices=NoticeSettings(decimal_comma=True)))
    assert (speech.measured(-1.26), speech.limit(1.5), speech.rough(27.4)) == ("−1,3 °C", "1,5 °C", "27 °C")


def test_a_forecast_time_is_no_finer_than_five_minutes(lone):
    """Rounded down: who is early is not sorry."""
    assert Speech(lone).by(NOON_S + 14 * 60 + 59) == "12:10"


def test_lists_read_as_sentences():
    """One, two, three."""
    assert [listed(list("abc")[:k]) for k in (1, 2, 3)] == ["a", "a and b", "a, b and c"]


def test_a_summer_day_in_fahrenheit(lone, live):
    """A notice speaks the person's unit throughout."""
    garden = replace(lone, site=replace(lone.site, unit="F"))
    (notice,) = live([30.0] * 10, garden=garden).notices
    assert notice.text == "Open north now: 86 °F, over 81 °F"
