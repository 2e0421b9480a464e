"""Sowings are kept for good, each change with who made it."""

from datetime import date

import pytest

from propstick.edges.sowings import SowingChange, Sowings
from propstick.errors import InputError


@pytest.fixture
def sowings(store):
    return Sowings(store, "home")


def test_sowing_is_kept_as_told(sowings):
    """Days as dates or text; what was not told is empty."""
    made = sowings.add({"crop": "lettuce", "box": "north", "sown": "2026-02-14"}, by="page", at_s=100)
    assert made.sown == date(2026, 2, 14)
    assert made.first_up is None
    assert sowings.get(made.id) == made
    assert sowings.all() == [made]
    assert made.to_json()["sown"] == "2026-02-14"


def test_every_change_is_in_the_history(sowings):
    """What it was, what it became, who and when; a change to the same is none."""
    made = sowings.add({"crop": "lettuce", "box": "north"}, by="page", at_s=100)
    sowings.change(made.id, {"first_up": date(2026, 2, 20), "crop": "lettuce"}, by="ann", at_s=200)
    sowings.change(made.id, {"first_up": "2026-02-20"}, by="ann", at_s=250)
    changed = sowings.change(made.id, {"first_up": "2026-02-21", "yield_g": 450}, by="bob", at_s=300)
    assert (changed.first_up, changed.yield_g) == (date(2026, 2, 21), 450)
    assert sowings.history(made.id) == [
        SowingChange(100, "page", {"crop": (None, "lettuce"), "box": (None, "north")}),
        SowingChange(200, "ann", {"first_up": (None, "2026-02-20")}),
        SowingChange(300, "bob", {"first_up": ("2026-02-20", "2026-02-21"), "yield_g": (None, 450)}),
    ]


def test_taken_back_is_marked_not_deleted(sowings):
    """It no longer counts, can be read, and can be put back."""
    made = sowings.add({"crop": "radish", "box": "outside"}, by="page", at_s=100)
    assert sowings.remove(made.id, by="page", at_s=200).removed_s == 200
    assert sowings.remove(made.id, by="page", at_s=300).removed_s == 200
    assert sowings.all() == []
    assert [s.id for s in sowings.all(removed=True)] == [made.id]
    assert sowings.put_back(made.id, by="page", at_s=400) == made
    assert [s.id for s in sowings.all()] == [made.id]


def test_revision_grows_with_every_change(sowings):
    """What the watch asks at every row."""
    seen = [sowings.revision()]
    made = sowings.add({"crop": "radish", "box": "north"}, by="page")
    seen.append(sowings.revision())
    sowings.change(made.id, {"note": "thin"}, by="page")
    seen.append(sowings.revision())
    sowings.remove(made.id, by="page")
    seen.append(sowings.revision())
    assert seen == sorted(set(seen))


def test_same_key_is_the_same_sowing(sowings):
    """A form sent twice makes one."""
    fields = {"crop": "radish", "box": "north"}
    assert sowings.add(fields, by="page", key="k") == sowings.add(fields, by="page", key="k")
    assert len(sowings.all()) == 1


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"box": "north"}, "no crop given"),
        ({"crop": "radish", "box": ""}, "no box given"),
        ({"crop": "radish", "box": "north", "sow": "2026-02-14"}, "unknown field 'sow'"),
        ({"crop": "radish", "box": "north", "sown": "14.2.2026"}, "expected a day such as"),
        ({"crop": "radish", "box": "north", "sown": 20260214}, "expected a day such as"),
        ({"crop": "radish", "box": "north", "yield_g": 1.5}, "whole grams"),
        ({"crop": "radish", "box": "north", "yield_g": -1}, "whole grams"),
        ({"crop": "radish", "box": "north", "note": "x" * 2001}, "at most 2000"),
        ({"crop": "radish\0", "box": "north"}, "at most 2000"),
        (
            {"crop": "radish", "box": "north", "sown": "2026-03-01", "first_up": "2026-02-01"},
            "from 2026-03-01",
        ),
    ],
)
def test_what_cannot_be_meant_is_refused_whole(sowings, fields, words):
    """One message: which field, what it was, what is expected; nothing stored."""
    with pytest.raises(InputError, match=words):
        sowings.add(fields, by="page")
    assert sowings.all(removed=True) == []


def test_change_is_checked_against_what_stands(sowings):
    """First up before the day of sowing, told in two steps; a sowing that is not there."""
    made = sowings.add({"crop": "radish", "box": "north", "sown": "2026-03-01"}, by="page")
    with pytest.raises(InputError, match="first_up"):
        sowings.change(made.id, {"first_up": "2026-02-28"}, by="page")
    with pytest.raises(InputError, match="there is none"):
        sowings.change(made.id + 1, {"note": "x"}, by="page")
    assert sowings.get(made.id) == made
    assert sowings.get(made.id + 1) is None
