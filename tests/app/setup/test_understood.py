"""Words of a person, understood or refused with what was expected."""

from datetime import date

import pytest

from propstick.app.setup import understood
from propstick.app.setup.understood import Answers
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
        ("6.46, 52.35N", (52.35, 6.46)),
        ("", ()),
        ("no", ()),
    ],
)
def test_a_position_as_maps_show_it(text, expected):
    assert understood.position(text) == expected


@pytest.mark.parametrize(
    "text",
    ["52.35", "52°21'N 6°28'W", "91, 0", "0, 181", "here", "1 2 3", "52.35S 6.46S", "5E 6W", "52,35; -6,46"],
)
def test_no_position_is_guessed(text):
    with pytest.raises(InputError, match="expected"):
        understood.position(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [("c", "C"), ("°C", "C"), ("Celsius", "C"), ("degrees F", "F"), ("fahr", "F"), ("Farenheit", "F")],
)
def test_a_unit_by_letter_or_word(text, expected):
    assert understood.unit(text) == expected


@pytest.mark.parametrize("text", ["cold", "fine", "7", "K", "no", "c or f", "25 C", "", "°"])
def test_a_word_that_only_begins_like_a_unit_is_none(text):
    with pytest.raises(InputError, match="expected C or F"):
        understood.unit(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("north, by the lane", ("north", "by-the-lane")),
        ("North;South_2", ("north", "south-2")),
        ("3", ("box-1", "box-2", "box-3")),
        ("1", ("box",)),
        ("two", ("box-1", "box-2")),
        ("2 boxes", ("box-1", "box-2")),
        ("north and lane", ("north", "lane")),
        ("2: north, lane", ("north", "lane")),
        ("two, north, lane", ("north", "lane")),
        ("sandy bank", ("sandy-bank",)),
    ],
)
def test_boxes_by_name_or_number(text, expected):
    assert understood.box_names(text) == expected


@pytest.mark.parametrize(
    "text",
    [
        "",
        "0",
        "99",
        "outside",
        "north, north",
        "größte",
        ",",
        "no",
        "None",
        "yes",
        "-",
        "--",
        "25:00",
        "quit",
    ],
)
def test_boxes_that_cannot_be(text):
    with pytest.raises(InputError):
        understood.box_names(text)


def test_a_sowing_with_and_without_its_day_and_box():
    boxes = ("north", "lane")
    assert understood.sowing("Lettuce, north, 2026-03-01", boxes, today=TODAY) == (
        "lettuce",
        "north",
        "2026-03-01",
    )
    assert understood.sowing("kale, outside", boxes, today=TODAY) == ("kale", "outside", "2026-03-20")
    assert understood.sowing("kale", ("north",), today=TODAY) == ("kale", "north", "2026-03-20")
    assert understood.sowing("kale, 2026-03-01", ("north",), today=TODAY) == ("kale", "north", "2026-03-01")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("lettuce north 2026-03-01", ("lettuce", "north", "2026-03-01")),
        ("broad bean by the lane", ("broad bean", "by-the-lane", "2026-03-20")),
        ("pak choi outside yesterday", ("pak choi", "outside", "2026-03-19")),
        ("lettuce, north, today", ("lettuce", "north", "2026-03-20")),
    ],
)
def test_a_sowing_without_commas_is_not_taken_for_a_crop(text, expected):
    assert understood.sowing(text, ("north", "by-the-lane"), today=TODAY) == expected


@pytest.mark.parametrize("boxes", [("north",), ("north", "lane")])
@pytest.mark.parametrize("text", ["", "no", "None", "nothing", "-", "done"])
def test_nothing_sown_is_no_crop_of_that_name(text, boxes):
    assert understood.sowing(text, boxes, today=TODAY) is None


@pytest.mark.parametrize("text", ["7", "7, north", "25:00", "lettuce, north, 2024-03-01"])
def test_a_number_is_no_crop_and_a_slip_of_the_year_no_sowing(text):
    with pytest.raises(InputError, match="expected"):
        understood.sowing(text, ("north",), today=TODAY)


@pytest.mark.parametrize(
    "text", ["lettuce", "lettuce, shed", "lettuce, north, soon", "lettuce, north, 2026-04-01", ","]
)
def test_a_sowing_that_cannot_be(text):
    with pytest.raises(InputError, match="expected"):
        understood.sowing(text, ("north", "lane"), today=TODAY)


@pytest.mark.parametrize(("text", "expected"), [("Yes.", True), ("y", True), ("NO", False), ("n", False)])
def test_yes_and_no(text, expected):
    assert understood.yes(text) is expected


@pytest.mark.parametrize("text", ["", "7", "maybe", "yes no"])
def test_neither_yes_nor_no(text):
    with pytest.raises(InputError, match="yes or no"):
        understood.yes(text)


def test_answers_survive_being_kept():
    """As JSON and back, with words of a later release left out."""
    answers = Answers(position=(52.35, -6.46), boxes=("north",), sown=(("lettuce", "north", "2026-03-01"),))
    assert Answers.of_json({**answers.to_json(), "later": 1}) == answers
