"""What the season says of each batch: up, late, picked, sown next."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from tests.app.season.asked import at, batch

from propstick.app.season import words as season_words
from propstick.app.season.sheet import sheet
from propstick.edges.sowings import Sowings

pytestmark = pytest.mark.slow


def test_emergence_is_foretold_from_measured_soil_and_the_day_comes_within_it(spring, world):
    """Each week's interval must hold the day the published sum was really reached."""
    final = batch(at(spring, 4, 20), 5)
    came = final.up.expected_s  # all of it measured by then
    for day in (4, 8, 12):
        one = batch(at(spring, 3, day), 5)
        assert one.up.low_s <= came <= one.up.high_s
        assert one.progress < 1.0
    assert batch(at(spring, 3, 12), 5).up.high_s - batch(at(spring, 3, 12), 5).up.low_s < (
        batch(at(spring, 3, 4), 5).up.high_s - batch(at(spring, 3, 4), 5).up.low_s
    )


def test_a_batch_under_glass_is_foretold_before_the_one_beside_it(spring):
    report = at(spring, 3, 10)
    assert batch(report, 1).up.expected_s < batch(report, 5).up.expected_s


def test_late_is_said_beyond_the_interval_with_reasons(spring):
    one = batch(at(spring, 4, 20), 4)
    assert one.late_days > 5
    assert one.reasons
    assert any(
        "later than the 90 % interval" in line for line in season_words.batch_sentences(one, is_warm=False)
    )


def test_the_person_s_dates_teach_the_garden_s_factor_and_are_shown(spring, world):
    module, _ = world
    before = at(spring, 4, 20)
    module.sow_again(spring, first_up={1: "2013-03-16", 2: "2013-03-24"})
    after = at(spring, 4, 20)
    assert before.emergence.seen == ()
    assert len(after.emergence.seen) == 2
    assert after.emergence.middle > 1.05
    assert batch(after, 5).up.expected_s > batch(before, 5).up.expected_s
    assert any(
        "of the published figure, from 2 batches" in line for line in season_words.closing_sentences(after)
    )


def test_a_soil_probe_that_dies_half_way_widens_the_interval_and_is_said(world, tmp_path):
    module, traces = world
    made = {}
    for name, dies in (("whole", None), ("dead", datetime(2013, 3, 3, tzinfo=UTC))):
        folder = tmp_path / name
        folder.mkdir()
        kept = module.stored(folder, traces, soil_dies=dies)
        made[name] = batch(at(kept, 3, 9), 1)
        kept.store.close()
    whole, dead = made["whole"], made["dead"]
    assert dead.up.high_s - dead.up.low_s > whole.up.high_s - whole.up.low_s
    assert any("soil from the air" in note for note in dead.notes)
    assert any(note.startswith("its soil probe is silent since 2 March: soil from") for note in dead.notes)
    assert not any("soil from the air" in note for note in whole.notes)
    assert abs(dead.up.expected_s - whole.up.expected_s) < 5 * 86_400


def test_a_batch_that_was_picked_is_not_late_to_come_up(spring):
    """Nobody noted spinach up, and it was picked: it came up, and no reason is sought why it did not."""
    assert batch(at(spring, 4, 20), 4).late_days > 0.0
    Sowings(spring.store, "spring").change(4, {"first_pick": "2013-04-18"}, by="t")
    report = at(spring, 4, 20)
    one = batch(report, 4)
    assert (one.late_days, one.reasons) == (0.0, ())
    assert season_words.up_text(one, report.day) == "not noted"


def test_what_has_no_figure_says_so_and_kinship_is_marked(spring):
    Sowings(spring.store, "spring").add({"crop": "turnip", "box": "lane", "sown": "2013-03-10"}, by="t")
    report = at(spring, 4, 10)
    assert "no published figure" in batch(report, 6).pick_words
    assert any("by kinship with radish" in note for note in batch(report, 3).notes)
    Sowings(spring.store, "spring").add({"crop": "marigold", "box": "lane", "sown": "2013-03-20"}, by="t")
    odd = batch(at(spring, 4, 10), 7)
    assert odd.notes == ("no figures for marigold: nothing can be expected of it",)


def test_what_is_overdue_is_not_shown_as_to_come(spring):
    """Rocket was to be picked long ago, and nobody noted it: not a date in the past as if expected."""
    report = at(spring, 4, 20)
    one = batch(report, 2)
    late = date.fromordinal(one.day(one.pick.high_s).toordinal() + 1)
    between = date.fromordinal(one.day(one.pick.expected_s).toordinal() + 1)
    assert season_words.pick_text(one, report.day) == season_words.window_text(one, one.pick)
    assert season_words.pick_text(one, between).startswith("any day, to")
    assert season_words.pick_text(one, late).startswith("due from")


def test_a_batch_never_cleared_is_asked_about_and_not_reckoned_with(spring):
    """Sown a year ago and forgotten: it is not 300 days late, and its watering is not counted from there."""
    sowings = Sowings(spring.store, "spring")
    sowings.add({"crop": "radish", "box": "lane", "sown": "2012-04-01"}, by="t")
    report = at(spring, 4, 10)
    assert [one.id for one in report.left_open] == [6]
    assert all(one.sowing.id != 6 for one in report.batches)
    assert report.since == date(2013, 1, 1)
    assert season_words.left_open_sentences(report) == [
        "radish in lane, sown 1 April 2012, was never cleared: propstick sow cleared 6 DAY."
    ]
    assert "was never cleared" in sheet(report)
    sowings.change(6, {"cleared": "2012-06-01"}, by="t")
    assert at(spring, 4, 10).left_open == ()


def test_what_stands_over_winter_begins_the_season(spring):
    Sowings(spring.store, "spring").add({"crop": "spinach", "box": "lane", "sown": "2012-10-20"}, by="t")
    report = at(spring, 3, 14)
    assert report.since == date(2012, 10, 20)
    assert "20 October 2012 to 14 March 2013" in sheet(report)


def test_nothing_past_is_told_as_if_to_come(spring):
    """No next sowing lies behind, and rocket due in May and about to flower is to be picked at once."""
    report = at(spring, 4, 20)
    for one in report.batches:
        for line in season_words.batch_sentences(one, is_warm=False):
            assert "from 1 April" not in line
            if line.startswith("Next sowing") and "due:" not in line:
                assert one.day(one.next.sow.expected_s) > report.day
                assert "any day from today to" in line
    early = batch(report, 3)
    ripe = replace(early, today=date(2013, 5, 15))
    said = " ".join(season_words.batch_sentences(ripe, is_warm=False))
    assert "Pick it now: it may flower any day (days of 14 hours and more)." in said


def test_the_next_sowing_is_that_of_the_youngest_batch_only(spring):
    sowings = Sowings(spring.store, "spring")
    sowings.add({"crop": "lettuce", "box": "north", "sown": "2013-03-15"}, by="t")
    report = at(spring, 3, 20)
    assert batch(report, 1).next is None
    found = batch(report, 6).next
    assert found is not None
    assert found.pick_s - batch(report, 6).pick.expected_s == pytest.approx(14 * 86_400)
    sooner = batch(at(spring, 3, 20, every_d=7.0), 6).next
    assert sooner.sow.expected_s < found.sow.expected_s
