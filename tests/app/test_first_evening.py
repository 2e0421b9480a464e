"""Words of a person, understood or refused with what was expected."""

from datetime import date

import pytest

from propstick.app import first_evening as words
from propstick.app.first_evening import Answers
from propstick.errors import InputError

TODAY = date(2026, 3, 20)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("52.35, -6.46", (52.35, -6.46)),
        ("52.35 -6.46", (52.35, -6.46)),
        ("52.35N 6.46W", (52.35, -6.46)),
        ("6.46° W, 52.35° N", (52.35, -6.46)),
        ("33.9s;151.2e", (-33.9, 151.2)),
        ("", ()),
        ("no", ()),
    ],
)
def test_a_position_as_maps_show_it(text, expected):
    assert words.position(text) == expected


@pytest.mark.parametrize("text", ["52.35", "52°21'N 6°28'W", "91, 0", "0, 181", "here", "1 2 3"])
def test_no_position_is_guessed(text):
    with pytest.raises(InputError, match="expected"):
        words.position(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("north, by the lane", ("north", "by-the-lane")),
        ("North;South_2", ("north", "south-2")),
        ("3", ("box-1", "box-2", "box-3")),
        ("1", ("box",)),
    ],
)
def test_boxes_by_name_or_number(text, expected):
    assert words.box_names(text) == expected


@pytest.mark.parametrize("text", ["", "0", "99", "outside", "north, north", "größte", ","])
def test_boxes_that_cannot_be(text):
    with pytest.raises(InputError):
        words.box_names(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("08:00 17:30", ("08:00", "17:30")),
        ("8-17:30", ("08:00", "17:30")),
        ("8am to 5:30pm", ("08:00", "17:30")),
        ("12:10am and 12 pm", ("00:10", "12:00")),
    ],
)
def test_times_as_people_write_them(text, expected):
    assert words.times_of_day(text, what="away") == expected


@pytest.mark.parametrize("text", ["8", "8 25", "17:30 8:00 9:00", "early late", "13pm 14pm"])
def test_times_that_are_none(text):
    with pytest.raises(InputError):
        words.times_of_day(text, what="away")


def test_away_and_night_keep_to_what_the_garden_file_takes():
    assert words.away("never") == ()
    with pytest.raises(InputError, match="later on the same day"):
        words.away("17:30 08:00")
    with pytest.raises(InputError, match="different"):
        words.night("22:30 22:30")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("mon-fri", ("mon", "tue", "wed", "thu", "fri")),
        ("Saturday to Monday", ("mon", "sat", "sun")),
        ("tue, thu", ("tue", "thu")),
        ("every day", ("mon", "tue", "wed", "thu", "fri", "sat", "sun")),
    ],
)
def test_days_of_the_week(text, expected):
    assert words.days(text) == expected


def test_a_day_that_is_none():
    with pytest.raises(InputError):
        words.days("mon, someday")


def test_a_sowing_with_and_without_its_day_and_box():
    boxes = ("north", "lane")
    assert words.sowing("Lettuce, north, 2026-03-01", boxes, today=TODAY) == (
        "lettuce",
        "north",
        "2026-03-01",
    )
    assert words.sowing("kale, outside", boxes, today=TODAY) == ("kale", "outside", "2026-03-20")
    assert words.sowing("kale", ("north",), today=TODAY) == ("kale", "north", "2026-03-20")


@pytest.mark.parametrize(
    "text", ["lettuce", "lettuce, shed", "lettuce, north, soon", "lettuce, north, 2026-04-01", ","]
)
def test_a_sowing_that_cannot_be(text):
    with pytest.raises(InputError, match="expected"):
        words.sowing(text, ("north", "lane"), today=TODAY)


def test_answers_survive_being_kept():
    """As JSON and back, with words of a later release left out."""
    answers = Answers(position=(52.35, -6.46), boxes=("north",), sown=(("lettuce", "north", "2026-03-01"),))
    assert Answers.of_json({**answers.to_json(), "later": 1}) == answers
