"""The season from a real store: boxes simulated under measured weather (Newark 2013), five sowings."""

import json
from dataclasses import fields, replace
from datetime import UTC, datetime

import numpy as np
import pytest
from tests.app.season.asked import at

from propstick.app import cli
from propstick.app.season import spot_words as season_spot_words
from propstick.app.season import words as season_words
from propstick.app.season.report import foreseen, season_report
from propstick.app.season.sheet import sheet, write_sheet
from propstick.edges.database import open_store
from propstick.edges.readings import ReadingLog
from propstick.edges.sowings import Sowings
from propstick.errors import InputError
from propstick.garden import Box, Probe
from propstick.grid import ReadingColumns

pytestmark = pytest.mark.slow


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
