"""sow writes batches and dates down, refuses what cannot be, and takes back without losing anything."""

import json
from datetime import UTC, date, datetime

import pytest

from propstick.app import cli
from propstick.app.commands.sow import day_of, yield_of
from propstick.edges.database import open_store
from propstick.edges.sowings import Sowings
from propstick.errors import InputError

TODAY = date(2026, 4, 20)


@pytest.fixture
def garden(tmp_path):
    file = tmp_path / "garden.toml"
    file.write_text(
        '[site]\nname = "lane"\nzone = "Europe/Dublin"\n[[box]]\nname = "north"\n'
        '[[probe]]\nid = "28-00000000000a"\nbox = "north"\nplace = "air"\n'
    )
    open_store(f"sqlite:///{tmp_path / 'propstick.db'}").close()
    return file


@pytest.fixture
def sow(garden, monkeypatch):
    """The command as typed on 30 April 2026, in the evening."""
    evening_s = datetime(2026, 4, 30, 18, tzinfo=UTC).timestamp()
    monkeypatch.setattr("propstick.edges.clock.SystemClock.wall_s", lambda _self: evening_s)
    return lambda *words: cli.main(["sow", *words, "--garden", str(garden)])


@pytest.fixture
def stored(tmp_path):
    store = open_store(f"sqlite:///{tmp_path / 'propstick.db'}")
    yield Sowings(store, "lane")
    store.close()


def test_a_batch_is_written_down_under_the_name_of_the_crop_table(sow, stored, capsys):
    assert sow("Arugula", "north", "2026-03-01", "--note", "two rows") == 0
    batch = stored.get(1)
    assert (batch.crop, batch.box, batch.sown, batch.note) == (
        "rocket", "north", date(2026, 3, 1), "two rows",
    )  # fmt: skip
    assert "Batch 1: rocket in north, sown 2026-03-01" in capsys.readouterr().out


def test_the_open_ground_is_a_place_to_sow_in(sow, stored):
    assert sow("pea", "outside", "2026-03-01") == 0
    assert stored.get(1).box == "outside"


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["rockett", "north"], "the nearest is rocket"),
        (["rocket", "nroth"], "expected one of north, outside"),
        (["rocket", "north", "2999-01-01"], "still to come"),
        (["rocket", "north", "1.3.2026"], "expected one such as"),
        (["rocket", "north", "1926-03-15"], "did you mean 2026-03-15?"),
        (["rocket", "north", "1926-03-15", "--old"], "expected 2000-01-01 or later"),
        (["rocket", "north", "1926-11-15"], "did you mean 2025-11-15?"),
        (["rocket", "north", "2024-02-29"], "did you mean 2024-02-29?"),
        (["rocket", "north", "2025-03-01"], "which is 425 days ago, expected one of the last 400"),
        (["rocket", "north", "0001-01-01"], "did you mean 2026-01-01?"),
        (["rocket"], "expected a crop and a box"),
        (["rocket", "north", "2026-03-01", "more"], "no more words"),
        (["up", "x"], "number of a batch"),
        (["up"], "number of a batch"),
        (["up", "7"], "there is none"),
        (["frist-pick", "7"], "the nearest is first-pick"),
        (["rocket", "7"], "got 'rocket' before the number of a batch"),
        (["gave", "7"], "expected a text"),
        (["box", "7", "nroth"], "expected one of north, outside"),
        (["crop", "7", "rockett"], "the nearest is rocket"),
        (["sown", "7", "1926-03-01"], "did you mean 2026-03-01?"),
        (["undo", "7"], "there is none"),
        (["history", "7"], "there is none"),
    ],
)
def test_what_cannot_be_is_refused_by_name_and_nothing_is_kept(sow, stored, capsys, words, named):
    assert sow(*words) == 2
    assert named in capsys.readouterr().err
    assert stored.all(removed=True) == []


def test_an_unlisted_crop_is_taken_when_meant(sow, stored):
    assert sow("marigold", "north", "--unlisted") == 0
    assert stored.get(1).crop == "marigold"


def test_the_garden_s_own_crop_file_adds_a_crop(sow, stored, garden):
    own = "[marigold]\nfrost_c = 2\n[marigold.emergence]\nbase_c = 5\ntheta_c_d = 60\n"
    garden.with_name("crops.toml").write_text(own)
    assert sow("marigold", "north", "2026-03-01") == 0
    assert stored.get(1).crop == "marigold"


def test_a_bad_crop_file_is_named(sow, garden, capsys):
    garden.with_name("crops.toml").write_text("[marigold]\nfrost_c = 99\n")
    assert sow("rocket", "north") == 2
    assert "crops.toml: crop table, marigold, frost_c: got 99" in capsys.readouterr().err


def test_dates_seen_are_kept_and_a_harvest_before_emergence_is_refused(sow, stored, capsys):
    sow("rocket", "north", "2026-03-01")
    assert sow("up", "1", "2026-03-12") == 0
    assert sow("first-pick", "1", "2026-03-05") == 2
    assert "expected a day from 2026-03-12 (up) on" in capsys.readouterr().err
    assert sow("first-pick", "1", "2026-04-20") == 0
    assert sow("gave", "1", "340 g") == 0
    assert sow("gave", "1", "two bowls") == 0
    batch = stored.get(1)
    assert (batch.first_up, batch.first_pick) == (date(2026, 3, 12), date(2026, 4, 20))
    assert (batch.yield_g, batch.yield_note) == (340, "two bowls")


def test_of_two_days_the_one_just_given_is_named_as_wrong(sow, stored, capsys):
    """A pick noted, then a day up after it: the day up is what was typed."""
    sow("rocket", "north", "2026-03-01")
    sow("first-pick", "1", "2026-04-20")
    capsys.readouterr()
    assert sow("up", "1", "2026-04-25") == 2
    said = capsys.readouterr().err
    assert "sowing, first_up: got 2026-04-25, expected a day until 2026-04-20 (picked)" in said
    assert "propstick sow history 1" in said
    assert stored.get(1).first_up is None


def test_a_misspelt_crop_hears_the_nearest_before_the_long_list(sow, capsys):
    assert sow("rockett", "north") == 2
    said = capsys.readouterr().err
    assert said.index("the nearest is rocket") < said.index("beet")


def test_undo_takes_back_one_change_and_undoing_twice_restores_it(sow, stored):
    sow("rocket", "north", "2026-03-01")
    sow("up", "1", "2026-03-12")
    sow("up", "1", "2026-03-14")
    sow("undo", "1")
    assert stored.get(1).first_up == date(2026, 3, 12)
    sow("undo", "1")
    assert stored.get(1).first_up == date(2026, 3, 14)


def test_what_was_written_down_wrong_is_put_right_and_taken_back(sow, stored, capsys):
    """Day of sowing, box and crop; a day seen too early is emptied. Undo takes back each change alone."""
    sow("rocket", "north", "2026-03-01")
    sow("up", "1", "2026-03-12")
    assert sow("sown", "1", "2026-03-20") == 2
    assert "expected a day until 2026-03-12 (up)" in capsys.readouterr().err
    assert sow("up", "1", "none") == 0
    assert sow("sown", "1", "2026-03-20") == 0
    assert sow("box", "1", "outside") == 0
    assert sow("crop", "1", "Arugula") == 0  # the same crop: no change
    assert sow("crop", "1", "radish") == 0
    batch = stored.get(1)
    assert (batch.crop, batch.box, batch.sown, batch.first_up) == (
        "radish", "outside", date(2026, 3, 20), None,
    )  # fmt: skip
    sow("undo", "1")
    assert stored.get(1).crop == "rocket"
    capsys.readouterr()
    sow("history", "1")
    told = capsys.readouterr().out
    assert "first_up 2026-03-12 → -" in told
    assert "box north → outside" in told


def test_a_mistaken_batch_is_marked_stays_readable_and_comes_back(sow, stored, capsys):
    sow("rocket", "north", "2026-03-01")
    sow("undo", "1")
    assert stored.all() == []
    capsys.readouterr()
    sow("list", "--all")
    assert "taken back" in capsys.readouterr().out
    sow("undo", "1")
    assert [one.id for one in stored.all()] == [1]
    sow("remove", "1")
    assert stored.all() == []
    capsys.readouterr()
    sow("history", "1")
    told = capsys.readouterr().out
    assert told.count("taken back") == 2
    assert told.count("put back") == 1


def test_the_list_is_a_table_of_80_columns_and_data_when_asked(sow, capsys):
    sow("broccoli-rabe", "outside", "2026-03-01", "--note", "a long note that would not fit on the paper")
    capsys.readouterr()
    sow("list")
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[0].split()[:4] == ["ID", "CROP", "BOX", "SOWN"]
    sow("list", "--json")
    assert json.loads(capsys.readouterr().out)[0]["sown"] == "2026-03-01"


def test_an_old_day_is_taken_when_meant_and_last_spring_s_without_asking(sow, stored, capsys):
    assert sow("rocket", "north", "2025-03-30") == 0
    assert sow("rocket", "north", "2019-03-01", "--old") == 0
    assert [one.sown for one in stored.all()] == [date(2025, 3, 30), date(2019, 3, 1)]
    capsys.readouterr()
    assert sow("up", "2", "2019-03-12") == 2
    assert "say --old if it is meant" in capsys.readouterr().err
    assert sow("up", "2", "2019-03-12", "--old") == 0
    assert stored.get(2).first_up == date(2019, 3, 12)


@pytest.mark.parametrize(
    ("text", "day"),
    [(None, TODAY), ("today", TODAY), ("yesterday", date(2026, 4, 19)), ("2026-04-20", TODAY)],
)
def test_a_day_is_read_as_people_write_it(text, day):
    assert day_of(text, TODAY) == day


def test_tomorrow_is_refused():
    with pytest.raises(InputError, match="still to come"):
        day_of("2026-04-21", TODAY)


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("340 g", {"yield_g": 340}),
        ("340g", {"yield_g": 340}),
        ("1,2 kg", {"yield_g": 1200}),
        ("two bowls", {"yield_note": "two bowls"}),
        ("a kg", {"yield_note": "a kg"}),
    ],
)
def test_a_weight_is_a_number_and_anything_else_is_kept_in_words(text, kept):
    assert yield_of(text) == kept
