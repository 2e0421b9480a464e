"""What an open alarm says on the page, hours after it was raised."""

import pytest

from propstick.garden import Garden, Site
from propstick_api.page.alarm_now import message_now
from propstick_api.page.reading import Reading

READING = Reading(Garden(site=Site(zone="Europe/Dublin")))


def _message(kind, *, air_c=-0.4, opening=None, cover=None, age_s=0, unit="C", **more):
    alarm = {
        "id": f"north.{kind}.1", "box": "north", "kind": kind, "state": "unacknowledged", "value_c": 0.9,
        "limit_c": 1.0, "message": "north is at 0.9 °C, under 1 °C: close and cover it.",
    } | more  # fmt: skip
    place = {"value": air_c, "age_s": age_s}
    box = {"box": "north", "air": place, "soil": place, "lid": {"opening": opening}, "cover": cover}
    reading = READING if unit == "C" else Reading(Garden(site=Site(zone="Europe/Dublin", unit=unit)))
    return message_now(alarm, {"boxes": [box], "step_s": 60}, reading)


@pytest.mark.parametrize(
    ("opening", "cover", "left"),
    [
        (None, None, "close and cover it"),
        (0.3, None, "close and cover it"),
        (0.0, None, "cover it"),
        (0.0, False, "cover it"),
        (0.0, True, "lay more over it"),
        (0.3, True, "close and cover it"),
    ],
)
@pytest.mark.parametrize("kind", ["frost", "frost-ahead"])
def test_who_has_shut_the_lid_since_is_not_told_to_shut_it(kind, opening, cover, left):
    assert _message(kind, opening=opening, cover=cover).endswith(f": {left}.")


def test_the_figure_is_that_of_now():
    assert _message("frost") == "north is at −0.4 °C, under 1 °C: close and cover it."
    assert _message("frost", unit="F") == "north is at 31 °F, under 34 °F: close and cover it."
    hot = _message("heat", air_c=31.0, limit_c=27.0, opening=1.0)
    assert hot == "north is at 31.0 °C, over 27 °C: shade it."
    soil = _message("soil-cold", limit_c=5.0)
    assert soil == "the soil in north is at −0.4 °C, under 5 °C: seed waits for warmth."


def test_a_forecast_keeps_its_figure():
    """The air of now is not what the night is expected to bring."""
    said = _message("frost-ahead", air_c=6.0, value_c=-1.2, opening=0.0)
    assert said == "north may fall below 1 °C tonight, about −1.2 °C expected: cover it."


def test_a_reading_back_within_the_limit_is_not_said_to_be_beyond_it():
    said = _message("frost", air_c=1.4)
    assert said == "north is at 0.9 °C, under 1 °C: close and cover it. Now it is 1.4 °C."


def test_what_is_too_old_is_not_now():
    assert _message("frost", age_s=7200) == "north is at 0.9 °C, under 1 °C: close and cover it."
