"""Column names."""

import pytest

from propstick.app.recording.names import ColumnName, column_name
from propstick.app.recording.problems import Problems
from propstick.errors import InputError


def name(text, known=None):
    return column_name(text, known_boxes=known, problems=Problems("n.csv"), line=1, column="3")


def test_box_place_and_probe():
    """A probe's part may hold dots and slashes."""
    assert name("outside.air") == ColumnName("outside.air", "outside", "air")
    assert name("box-2.soil.28-3c01b556e1a2").probe == "28-3c01b556e1a2"
    assert name("north.air.shed/top.v2").probe == "shed/top.v2"


@pytest.mark.parametrize(
    "text", ["", "air", "north", "North.air", "nörth.air", "north.air.", ".air", "a b.air"]
)
def test_other_forms_are_refused(text):
    """With line and column."""
    with pytest.raises(InputError, match="line 1, column 3"):
        name(text)


@pytest.mark.parametrize("text", ["north.temp", "north.", "outside.wind"])
def test_unknown_place_lists_the_known_ones(text):
    """All of them."""
    with pytest.raises(InputError, match="air, soil, humidity, moisture, lid, cover"):
        name(text)


def test_near_miss_is_named():
    """One step to take."""
    with pytest.raises(InputError) as refused:
        name("north.humidty")
    assert "north.humidity" in refused.value.hint


@pytest.mark.parametrize("text", ["site.air", "outside.lid", "outside.cover"])
def test_what_the_open_ground_has_not(text):
    """No lid outside, and `site` is reserved."""
    with pytest.raises(InputError):
        name(text)


def test_a_box_the_garden_has_not():
    """The garden's boxes are listed; outside is always known."""
    assert name("outside.air", known=("north",)).box == "outside"
    with pytest.raises(InputError, match="north, lane, outside"):
        name("south.air", known=("north", "lane"))


@pytest.mark.parametrize(
    ("text", "better"),
    [("großer kasten.air", "grosser-kasten.air"), ("süd.air", "sued.air"), ("élan_2.soil", "elan-2.soil")],
)
def test_a_box_named_in_other_letters_is_told_how_to_write_it(text, better):
    """What a box may be called, and this one's name so."""
    with pytest.raises(InputError) as refused:
        name(text)
    assert refused.value.hint.endswith(better)


def test_a_column_of_no_place_is_told_what_to_do():
    """Nothing near it: take it out."""
    with pytest.raises(InputError) as refused:
        name("north.note")
    assert "take the column out" in refused.value.hint
