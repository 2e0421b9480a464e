"""What the season says of each spot, and where a box serves best."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from tests.app.season.asked import at

from propstick.app.season import spot_words as season_spot_words
from propstick.app.season import words as season_words
from propstick.app.season.report import season_report
from propstick.edges.sowings import Sowings
from propstick.garden import Obstacle

pytestmark = pytest.mark.slow


def test_a_spot_is_judged_by_hand_before_any_box_stands_there(spring):
    """A spot of the garden file alone: its tree leaves on 20 April, and takes the afternoon from May on."""
    tree = (Obstacle(bearing_from_deg=220.0, bearing_to_deg=300.0, height_deg=60.0, leafless_until=(4, 20)),)
    garden = replace(spring.garden, spots=(*spring.garden.spots, replace(spring.garden.spots[0], name="bare",
                     obstacles=tree)))  # fmt: skip
    now_s = int(datetime(2013, 4, 10, 18, tzinfo=UTC).timestamp())
    report = season_report(spring.store, garden, now_s)
    bare = next(one for one in report.spots if one.spot == "bare")
    assert bare.today.sun_h == bare.today.open_sun_h
    assert bare.by_month[4].sun_h > bare.by_month[5].sun_h + 2.0
    path = next(line for line in season_words.closing_sentences(report) if line.startswith("Spot path"))
    assert "in mid-May" in path


def test_the_spots_are_judged_by_one_limit_and_the_best_is_named(spring):
    """In March no box is too hot: the open wall; in April all are, pump's shut box most; in both what nobody
    knows yet is said."""
    march, april = at(spring, 3, 14).siting, at(spring, 4, 10).siting
    assert march.best == ("wall",)
    assert march.words.startswith("At wall: it has the most sun, and no spot overheats.")
    assert "night outside below 1 °C, the limit of lettuce," in march.words
    assert "let two boxes change places for a week" in " ".join(march.unknown)
    assert "what stands around wall: nothing is written down" in " ".join(march.unknown)
    hot = {one.spot: one for one in april.spots}
    assert all(one.overheats for one in april.spots)
    assert hot["tree"].hot_hours > 2 * hot["wall"].hot_hours
    assert "tree" not in april.best
    assert "open the lids further" in april.words


def test_a_bed_of_the_plot_without_box_or_obstacle_is_not_guessed_at(spring):
    """A third spot with neither: its heat is not known, and it is not called cool."""
    garden = replace(
        spring.garden, spots=(*spring.garden.spots, replace(spring.garden.spots[0], name="bare"))
    )
    report = season_report(spring.store, garden, int(datetime(2013, 4, 10, 18, tzinfo=UTC).timestamp()))
    assert report.siting.best == ("bare",)
    assert "how hot a box gets there is not known yet" in report.siting.words
    assert "heat and frost of bare: nothing was measured there" in " ".join(report.siting.unknown)
    row = next(one for one in season_spot_words.spot_rows(report) if one[0] == "bare (no box)")
    assert row[1:3] == ("not known", "not known")


def test_the_tenderest_crop_in_hand_decides_what_a_cold_night_is(spring):
    """A crop no file knows counts with the default of 1 °C; a hardy one alone with its own."""
    sowings = Sowings(spring.store, "spring")
    for number in (1, 2, 3, 4, 5):
        sowings.change(number, {"cleared": "2013-03-13"}, by="t")
    sowings.add({"crop": "spinach", "box": "lane", "sown": "2013-03-01", "first_up": "2013-03-13"}, by="t")
    hardy = at(spring, 3, 14).siting
    assert hardy.frost_limit_c == -3.0
    assert "the limit of spinach," in hardy.words
    sowings.add({"crop": "marigold", "box": "lane", "sown": "2013-03-02"}, by="t")
    tender = at(spring, 3, 14).siting
    assert tender.frost_limit_c == 1.0
    assert "the limit of marigold," in tender.words
    assert tender.spots[0].frost_nights > hardy.spots[0].frost_nights


def test_light_is_told_for_every_spot_under_its_glass(spring):
    """Of a cloudless day's light glass lets three quarters through, and an April has no ten of those."""
    light = {one.spot: one.light for one in at(spring, 4, 10).spots}
    assert light["wall"].is_under_glass
    assert light["wall"].lately_mol > light["tree"].lately_mol
    assert 0.3 * light["wall"].clear_mol <= light["wall"].lately_mol <= 0.75 * light["wall"].clear_mol
    assert light["wall"].low_mol < light["wall"].lately_mol < light["wall"].high_mol
