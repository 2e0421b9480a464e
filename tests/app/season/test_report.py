"""The season from a real store: boxes simulated under measured weather (Newark 2013), five sowings."""

import json
from dataclasses import fields, replace
from datetime import UTC, date, datetime

import numpy as np
import pytest

from propstick.app import cli
from propstick.app.season import spot_words as season_spot_words
from propstick.app.season import words as season_words
from propstick.app.season.report import foreseen, season_report
from propstick.app.season.sheet import sheet, write_sheet
from propstick.app.season.water import reminder
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.edges.sowings import Sowings
from propstick.errors import InputError
from propstick.garden import Box, Obstacle, Probe
from propstick.grid import ReadingColumns
from propstick.growing.water import Moisture, WaterLost
from propstick.records import (
    Outcome,
    WateredTold,
)  # fmt: skip

pytestmark = pytest.mark.slow


def at(kept, month, day, **changes):
    now_s = int(datetime(2013, month, day, 18, tzinfo=UTC).timestamp())
    return season_report(kept.store, kept.garden, now_s, **changes)


def batch(report, number):
    return next(one for one in report.batches if one.sowing.id == number)


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


def test_heat_without_any_watch_is_no_clean_record(spring):
    """Readings alone, nothing ever issued: the page must not say that all was well."""
    assert "no watch was running" in season_words.warnings_sentence(at(spring, 4, 12))


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


def test_boxes_are_ahead_and_the_shut_one_pays_in_heat(spring):
    boxes = {one.box: one for one in at(spring, 4, 12).boxes}
    assert all(one.head_start.days > 0 for one in boxes.values())
    assert boxes["pump"].worth.hot_hours > boxes["north"].worth.hot_hours
    assert boxes["pump"].worth_words.startswith("the box has cost pump")


def test_the_sun_on_a_box_is_told_by_month(spring):
    """March and April of one box, longer days in April; a month of few days is left out."""
    early = {one.box: one for one in at(spring, 3, 20).boxes}["north"]
    late = {one.box: one for one in at(spring, 4, 20).boxes}["north"]
    assert [day.month for day, _ in late.sun_months] == [2, 3, 4]
    hours = dict(late.sun_months)
    assert hours[date(2013, 4, 1)] > hours[date(2013, 2, 1)]
    assert [day.month for day, _ in early.sun_months] == [2, 3]
    assert "in March" in " ".join(season_words.box_sentences(late))
    assert late.to_json()["sun"]["sun_h_by_month"].keys() == {"2013-02", "2013-03", "2013-04"}


def test_a_watering_told_starts_the_count_anew(spring):
    time_s = int(datetime(2013, 4, 8, 12, tzinfo=UTC).timestamp())
    Journal(spring.store, "spring").commit(
        row_s=time_s, readings=(), outcome=Outcome(), news=(WateredTold(time_s=time_s, box="north"),)
    )
    lost = {one.box: one.water for one in at(spring, 4, 12).boxes}
    assert lost["north"].was_told
    assert lost["north"].since == date(2013, 4, 8)
    assert lost["north"].lost_mm < lost["lane"].lost_mm


def test_a_box_reckoned_dry_is_named_in_the_brief_and_only_if_waterings_are_told(spring):
    def said(month, day):
        return reminder(
            spring.store, spring.garden, int(datetime(2013, month, day, 18, tzinfo=UTC).timestamp())
        )

    assert said(4, 12) == ""  # nobody has told any watering
    time_s = int(datetime(2013, 3, 28, 12, tzinfo=UTC).timestamp())
    told = WateredTold(time_s=time_s, box="north")
    Journal(spring.store, "spring").commit(row_s=time_s, readings=(), outcome=Outcome(), news=(told,))
    assert said(3, 29) == ""
    assert said(4, 12).startswith("Look whether north is dry: about ")
    assert "since 28 March." in said(4, 12)
    assert "lane" not in said(4, 12)


def test_a_moisture_probe_takes_the_place_of_the_estimate(spring):
    end_s = int(datetime(2013, 4, 12, 18, tzinfo=UTC).timestamp())
    time_ms = np.arange(end_s - 3 * 86_400, end_s, 600, dtype=np.int64) * 1000
    ReadingLog(spring.store, "spring").bulk_add(
        ReadingColumns(
            probes=("n/wet",),
            time_ms=time_ms,
            column=np.zeros(len(time_ms), dtype=np.int32),
            raw=np.full(len(time_ms), 14.0),
            flags=np.zeros(len(time_ms), dtype=np.uint16),
        )
    )
    wet = Probe(id="n/wet", box="north", place="moisture")
    garden = replace(spring.garden, probes=(*spring.garden.probes, wet))
    water = {one.box: one.water for one in season_report(spring.store, garden, end_s).boxes}
    assert isinstance(water["north"], Moisture)
    assert water["north"].is_due
    assert water["north"].words() == "dry: its moisture probe says 14 %, limit 20 %"
    assert isinstance(water["lane"], WaterLost)


def test_readings_after_the_evening_change_no_report(spring, world, tmp_path):
    """A store that ends on 20 March gives, to the last sign, what one that goes on for a month gives."""
    module, traces = world
    stop = int(np.searchsorted(traces.time_s, datetime(2013, 3, 20, 18, tzinfo=UTC).timestamp())) + 1
    short = replace(traces, **{f.name: getattr(traces, f.name)[:stop] for f in fields(traces)})
    folder = tmp_path / "short"
    folder.mkdir()
    kept = module.stored(folder, short)
    told = at(kept, 3, 20).to_json()
    kept.store.close()
    assert json.dumps(told) == json.dumps(at(spring, 3, 20).to_json())
    assert told["day"] == "2013-03-20"
    assert {"sowings", "boxes", "spots", "emergence_factor", "warnings"} <= set(told)


def test_the_table_keeps_to_80_columns_and_the_page_escapes(spring, capsys):
    from propstick.app.commands.season import show

    Sowings(spring.store, "spring").change(1, {"note": "<b>two & rows</b>"}, by="t")
    report = at(spring, 4, 10)
    show(report)
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    page = sheet(report)
    assert "&lt;b&gt;two &amp; rows" in page
    assert "<b>two" not in page
    assert "<script" not in page


def test_the_report_is_written_as_page_or_data_and_nothing_else(spring, tmp_path):
    report = at(spring, 4, 10)
    write_sheet(report, str(tmp_path / "spring.html"))
    assert (tmp_path / "spring.html").read_text().startswith("<!doctype html>")
    write_sheet(report, str(tmp_path / "spring.pdf"))
    assert (tmp_path / "spring.pdf").read_bytes().startswith(b"%PDF-")
    write_sheet(report, str(tmp_path / "spring.json"))
    assert json.loads((tmp_path / "spring.json").read_text())["site"] == "spring"
    with pytest.raises(InputError, match="ends in"):
        write_sheet(report, str(tmp_path / "spring.docx"))
    with pytest.raises(InputError, match="cannot be written"):
        write_sheet(report, str(tmp_path / "nowhere" / "spring.html"))


def test_an_empty_store_and_an_unknown_box_are_no_fault(tmp_path):
    store = open_store(f"sqlite:///{tmp_path / 'x.db'}")
    from propstick.garden import Garden, Site

    garden = Garden(site=Site(name="bare"), boxes=(Box(name="north"),))
    report = season_report(store, garden, 1_776_000_000)
    assert report.batches == ()
    assert report.boxes[0].head_start is None
    assert season_spot_words.spot_rows(report) == []  # a table of "not known" would say nothing
    assert "the limit while nothing is sown" in report.siting.words
    Sowings(store, "bare").add({"crop": "pea", "box": "gone", "sown": "2026-04-01"}, by="t")
    report = season_report(store, garden, 1_776_000_000)
    assert report.batches[0].notes == ("no box gone in the garden file",)
    assert season_words.up_text(report.batches[0], report.day) == "-"
    store.close()


def test_a_garden_of_one_box_without_soil_spot_position_or_outside_says_what_it_can(tmp_path, capsys):
    """Three days of air in the box alone: no sun, no outside, nothing saved that nobody could see."""
    from propstick.app.commands.season import show
    from propstick.garden import Garden, Site

    store = open_store(f"sqlite:///{tmp_path / 'x.db'}")
    garden = Garden(
        site=Site(name="bare", unit="F"), boxes=(Box(name="north"),),
        probes=(Probe(id="a", box="north", place="air"),),
    )  # fmt: skip
    now_s = 1_776_000_000
    time_ms = np.arange(now_s - 9 * 86_400, now_s, 600, dtype=np.int64) * 1000
    ReadingLog(store, "bare").bulk_add(
        ReadingColumns(
            probes=("a",),
            time_ms=time_ms,
            column=np.zeros(len(time_ms), dtype=np.int32),
            raw=np.full(len(time_ms), 30.0),
            flags=np.zeros(len(time_ms), dtype=np.uint16),
        )
    )
    Sowings(store, "bare").add({"crop": "lettuce", "box": "north", "sown": "2026-04-05"}, by="t")
    report = season_report(store, garden, now_s)
    show(report)
    said = capsys.readouterr().out
    flat = " ".join(said.split())
    assert max(map(len, said.splitlines())) <= 80
    assert "what nights it saves is not known without an air probe outside" in flat
    assert "There is one spot only" in flat
    assert "below 34 °F, the limit of lettuce, cannot be said" in flat
    assert "describe the spot of the box in the garden file" in flat
    assert " h, overheats" in said
    assert "mol/m" not in said
    assert "°C" not in said
    store.close()


def test_the_command_speaks_to_a_garden_without_a_sowing(tmp_path, capsys):
    file = tmp_path / "garden.toml"
    file.write_text('[site]\nname = "lane"\n[[box]]\nname = "north"\n')
    open_store(f"sqlite:///{tmp_path / 'propstick.db'}").close()
    assert cli.main(["season", "--garden", str(file)]) == 0
    assert "Nothing sown this season" in capsys.readouterr().out
    assert cli.main(["season", "--json", "--garden", str(file)]) == 0
    assert json.loads(capsys.readouterr().out)["sowings"] == []
    assert cli.main(["season", "--every", "1", "--garden", str(file)]) == 2
    assert cli.main(["season", "--harden", "north", "--garden", str(file)]) == 0
    assert "LID AT NIGHT" in capsys.readouterr().out


def test_what_is_to_come_goes_into_a_calendar_and_what_was_seen_does_not(spring, world):
    module, _ = world
    report = at(spring, 3, 14)
    kinds = {(one.batch.id, one.kind) for one in foreseen(report)}
    assert {(5, "expected-up"), (1, "expected-pick"), (1, "next-sowing")} <= kinds
    assert all(one.day >= report.day for one in foreseen(report))
    module.sow_again(spring, first_up={5: "2013-03-14"})
    assert (5, "expected-up") not in {(one.batch.id, one.kind) for one in foreseen(at(spring, 3, 14))}
