"""Records come back to the last bit; what a later release added is passed over, what is missing is not."""

import json
from datetime import date

import pytest

from propstick.codec import from_text, to_text
from propstick.errors import StoreError
from propstick.garden import Box, Garden, Probe, Site, Spot
from propstick.news import GardenChanged, News

CHANGED = GardenChanged(
    time_s=1_776_000_000,
    garden=Garden(
        site=Site(name="lane", latitude=52.1, longitude=-1.3),
        boxes=(Box(name="north", spot="wall"),),
        spots=(Spot(name="wall"),),
        probes=(Probe(id="28-00000000000a", box="north", place="air"),),
    ),
)


def _edited(change):
    """The stored text with one thing about it changed, as another release might have written it."""
    data = json.loads(to_text(CHANGED))
    change(data)
    return json.dumps(data)


def test_a_garden_comes_back_as_it_was():
    assert from_text(to_text(CHANGED), of=News) == CHANGED


@pytest.mark.parametrize(
    "later",
    [
        "hedge",
        3.5,
        None,
        {"": "Hedge", "height_deg": 12.0},
        {"": "tuple", "v": [{"": "Hedge"}]},
        {"no": "kind"},
    ],
)
def test_a_field_of_a_later_release_is_passed_over(later):
    """In the news itself, in the garden and deep in it, even of a class that this release does not know."""

    def change(data):
        data["told_by"] = later
        data["garden"]["hedge"] = later
        data["garden"]["probes"]["v"][0]["depth"] = later

    assert from_text(_edited(change), of=News) == CHANGED


def test_a_field_that_is_missing_is_refused():
    with pytest.raises(StoreError, match="garden"):
        from_text(_edited(lambda data: data.pop("garden")), of=News)


def test_a_class_nobody_knows_is_refused_where_it_counts():
    def change(data):
        data["garden"]["site"][""] = "Estate"

    with pytest.raises(StoreError):
        from_text(_edited(change), of=News)


def test_a_day_is_a_day_again():
    assert from_text(to_text((date(2026, 3, 1), None)), of=tuple) == (date(2026, 3, 1), None)
