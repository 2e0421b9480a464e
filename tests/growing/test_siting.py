"""Where a box serves best: what decides, what is alike, and what nobody measured."""

from dataclasses import replace

import pytest

from propstick.growing.siting import CropsInHand, SpotFacts, siting

COLD = CropsInHand(tenderest="lettuce", frost_limit_c=1.0, heat_limit_c=28.0, frost_risk=0.62)
MILD = replace(COLD, frost_risk=0.01)
WALL = SpotFacts(spot="wall", boxes=("north",), sun_h=13.0, share=1.0, hot_hours=3, frost_nights=2, nights=14)
TREE = SpotFacts(spot="tree", boxes=("lane",), sun_h=7.0, share=0.5, hot_hours=0, frost_nights=4, nights=14)
BARE = SpotFacts(spot="bare", sun_h=9.0, share=0.7)


def test_while_nights_freeze_the_sunniest_spot_serves():
    found = siting((WALL, TREE), COLD)
    assert found.best == ("wall",)
    assert found.words == (
        "At wall: it has the most sun, and no spot overheats. The chance of a night outside below 1 °C, the "
        "limit of lettuce, is about 60 % within two weeks."
    )
    assert found.unknown == ()


def test_not_if_it_overheats_as_it_is_aired():
    found = siting((replace(WALL, hot_hours=26), TREE), COLD)
    assert found.best == ("tree",)
    assert "the others overheat as their boxes are aired now" in found.words


def test_where_all_overheat_the_least_is_named_and_the_lid():
    found = siting((replace(WALL, hot_hours=26), replace(TREE, hot_hours=9)), COLD, unit="F")
    assert found.best == ("tree",)
    assert found.words.startswith(
        "Every spot overheats as its box is aired now, tree least (9 hours above 82 °F in a week): open "
    )


def test_when_nights_no_longer_freeze_a_cover_is_not_asked_for():
    found = siting((replace(WALL, hot_hours=26), TREE), MILD)
    assert found.best == ("tree",)
    assert found.words.startswith("No box is needed against frost now: the chance of a night below 1 °C")
    assert "less than 5 %" in found.words
    assert "it does least harm at tree (0 hours above 28 °C in a week)" in found.words


def test_seed_that_waits_still_wants_warm_soil():
    found = siting((WALL, TREE), replace(MILD, waiting=("radish",)))
    assert found.best == ("wall",)
    assert "Warm soil still helps radish, not yet up." in found.words


def test_crops_that_bolt_in_heat_are_kept_from_hot_spots():
    found = siting((replace(WALL, hot_hours=26), TREE), replace(COLD, heat_shy=("lettuce", "spinach")))
    assert "Keep lettuce and spinach out of spots that overheat" in found.words
    assert "Keep" not in siting((WALL, TREE), replace(COLD, heat_shy=("lettuce",))).words


def test_a_spot_nobody_measured_is_not_called_cool():
    found = siting((replace(WALL, hot_hours=26), BARE), COLD)
    assert found.best == ("bare",)
    assert "how hot a box gets there is not known yet" in found.words
    assert "do not overheat" not in found.words
    assert found.unknown == ("heat and frost of bare: nothing was measured there of late",)


@pytest.mark.parametrize("share", [1.0, 0.96])
def test_spots_too_near_one_another_are_both_named(share):
    found = siting((WALL, replace(TREE, share=share)), COLD)
    assert found.best == ("wall", "tree")
    assert "about as much sun as one another" in found.words


def test_too_few_nights_say_so_and_sun_still_decides():
    found = siting((WALL, TREE), replace(COLD, frost_risk=None, tenderest=None))
    assert found.best == ("wall",)
    assert "below 1 °C, the limit while nothing is sown, cannot be said" in found.words


def test_without_a_position_sun_decides_nothing():
    bare = tuple(replace(one, sun_h=None, share=None) for one in (WALL, TREE))
    found = siting(bare, COLD, box_from_spot="cannot yet")
    assert set(found.best) == {"wall", "tree"}
    assert "their sun is not known" in found.words
    assert found.unknown == (
        "the sun of the spots: the garden file has no position",
        "whether a warm box or a warm spot: let two boxes change places for a week",
    )


def test_one_spot_is_nothing_to_choose_between_and_none_is_said():
    assert siting((WALL,), COLD).words.startswith("There is one spot only, nothing to choose between.")
    assert siting((), COLD).words == "No box and no spot stands in the garden file."
    unknown = SpotFacts(spot="a"), SpotFacts(spot="b")
    assert siting(unknown, COLD).best == ()
    assert "cannot be said yet" in siting(unknown, COLD).words


def test_the_object_tells_known_from_unknown():
    told = siting((WALL, BARE), COLD).to_json()
    assert told["best"] == ["wall"]
    assert told["spots"][0]["overheats"] is False
    assert told["spots"][0]["freezes"] is True
    assert told["spots"][1]["overheats"] is None
    assert told["spots"][1]["freezes"] is None
