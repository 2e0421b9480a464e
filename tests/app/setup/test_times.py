"""Times and days of a person, understood or refused with what was expected."""

import pytest

from propstick.app.setup import times
from propstick.errors import InputError


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("08:00 17:30", ("08:00", "17:30")),
        ("8-17:30", ("08:00", "17:30")),
        ("8am to 5:30pm", ("08:00", "17:30")),
        ("12:10am and 12 pm", ("00:10", "12:00")),
        ("8.30 - 17.30", ("08:30", "17:30")),
        ("7 a.m., 5 p.m.", ("07:00", "17:00")),
        ("7 19", ("07:00", "19:00")),
    ],
)
def test_times_as_people_write_them(text, expected):
    assert times.times_of_day(text, what="away") == expected


@pytest.mark.parametrize(
    "text",
    [
        "8", "8 25", "17:30 8:00 9:00", "early late", "13pm 14pm", "", "7", "half past seven", "25:00 7:00",
        "0822", "2206", "112", "0830 1730", "8:00 17:60", "17:30", "yes",
    ],
)  # fmt: skip
def test_times_that_are_none(text):
    with pytest.raises(InputError):
        times.times_of_day(text, what="away")


def test_away_and_night_keep_to_what_the_garden_file_takes():
    for nothing in ("never", "no", "None", "-"):
        assert times.away(nothing) == ()
    with pytest.raises(InputError, match="later on the same day"):
        times.away("17:30 08:00")
    with pytest.raises(InputError, match="different"):
        times.night("22:30 22:30")


@pytest.mark.parametrize("text", ["10 6", "6:30 22:30", "11 7"])
def test_a_bed_time_in_the_morning_by_mistake_is_asked_again(text):
    """It would hold back notices by day."""
    with pytest.raises(InputError, match="10pm 6am"):
        times.night(text)


def test_who_works_at_night_sleeps_by_day():
    assert times.night("8:30 15:30") == ("08:30", "15:30")
    assert times.night("10pm 6am") == ("22:00", "06:00")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("mon-fri", ("mon", "tue", "wed", "thu", "fri")),
        ("Saturday to Monday", ("mon", "sat", "sun")),
        ("tue, thu", ("tue", "thu")),
        ("Mondays, tues and fri", ("mon", "tue", "fri")),
        ("weekdays", ("mon", "tue", "wed", "thu", "fri")),
        ("weekend", ("sat", "sun")),
        ("every day", ("mon", "tue", "wed", "thu", "fri", "sat", "sun")),
    ],
)
def test_days_of_the_week(text, expected):
    assert times.days(text) == expected


@pytest.mark.parametrize("text", ["mon, someday", "monkey", "0822", "no", "m-f", "", "mon-wed-fri"])
def test_a_day_that_is_none(text):
    with pytest.raises(InputError):
        times.days(text)
