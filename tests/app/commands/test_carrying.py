"""import, export, backup and restore, one after the other as a person would, on a real store."""

import csv
import json

import pytest

from propstick.app import cli
from propstick.app.commands.importing import stored_ids
from propstick.errors import InputError
from propstick.garden import Box, Garden, Probe

GARDEN = """\
[site]
name = "lane"
latitude = 52.35
longitude = -6.46
zone = "Europe/Dublin"
[[box]]
name = "north"
[[probe]]
id = "28-00000000000a"
box = "north"
place = "air"
"""
ROWS = """\
time,north.air,north.soil
2026-03-01T06:00Z,3.25,5.0
2026-03-01T06:01Z,3.5,
2026-03-02T06:00Z,-1.0,4.5
"""


@pytest.fixture
def garden(tmp_path):
    file = tmp_path / "garden.toml"
    file.write_text(GARDEN)
    return file


@pytest.fixture
def run(garden, capsys):
    """Runs a command on the garden; gives status, output and errors."""

    def call(*words):
        status = cli.main([*map(str, words), "--garden", str(garden)])
        said = capsys.readouterr()
        return status, said.out, said.err

    return call


@pytest.fixture
def recording(tmp_path):
    file = tmp_path / "march.csv"
    file.write_text(ROWS)
    return file


def cells(text):
    return {
        (row["time"], column): float(value)
        for row in csv.DictReader(text.splitlines())
        for column, value in row.items()
        if column != "time" and value
    }


def test_what_is_imported_comes_out_again(run, recording):
    status, out, _ = run("import", recording)
    assert status == 0
    assert "5 readings added" in out
    status, out, err = run("export", "--readings", "-")
    assert status == 0
    assert cells(out) == {
        ("2026-03-01T06:00:00Z", "north.air"): 3.25,
        ("2026-03-01T06:01:00Z", "north.air"): 3.5,
        ("2026-03-02T06:00:00Z", "north.air"): -1.0,
    }
    assert "Left out, in no box of the garden file nor outside: north.soil" in err


def test_an_import_can_be_repeated(run, recording):
    run("import", recording)
    status, out, _ = run("import", recording, "--json")
    assert status == 0
    assert json.loads(out)["added"] == 0
    assert json.loads(out)["already_there"] == 5


def test_fahrenheit_is_stored_in_celsius(run, tmp_path):
    """50 °F is 10 °C (NIST SP 811, B.8)."""
    file = tmp_path / "f.csv"
    file.write_text("time,north.air\n2026-03-01T06:00Z,50\n2026-03-01T06:01Z,32\n")
    run("import", file, "--unit", "F")
    _, out, _ = run("export", "--readings", "-")
    assert sorted(cells(out).values()) == [0.0, 10.0]


def test_a_time_that_cannot_be_right_is_left_out(run, tmp_path):
    file = tmp_path / "unset.csv"
    file.write_text(ROWS + "1970-01-01T00:05Z,9.0,\n")
    _, out, _ = run("import", file, "--json")
    assert json.loads(out)["left_out"] == 1
    _, out, _ = run("export", "--readings", "-")
    assert 9.0 not in cells(out).values()


def test_what_is_no_number_is_kept_with_a_flag_and_said(run, tmp_path):
    file = tmp_path / "odd.csv"
    file.write_text("time,north.air\n2026-03-01T06:00Z,3.0\n2026-03-01T06:01Z,abc\n")
    _, out, _ = run("import", file)
    assert "flagged and kept: 1 not-a-number" in out


def test_an_unknown_box_is_refused(run, tmp_path):
    file = tmp_path / "x.csv"
    file.write_text("time,nort.air\n2026-03-01T06:00Z,3\n")
    status, _, err = run("import", file)
    assert status == 2
    assert "nort" in err
    assert "Traceback" not in err


def test_export_takes_days_of_the_site(run, recording, tmp_path):
    run("import", recording)
    file = tmp_path / "one.csv"
    assert run("export", "--readings", file, "--from", "2026-03-01", "--to", "2026-03-01")[0] == 0
    assert len(cells(file.read_text())) == 2
    assert list(tmp_path.glob("*.part")) == []


def test_senml_is_rfc_8428(run, recording, tmp_path):
    """RFC 8428: `n`, `u` from its registry (`Cel`), `v`, and `t` in seconds."""
    run("import", recording)
    file = tmp_path / "out.json"
    run("export", "--readings", file)
    assert json.loads(file.read_text())[0] == {"n": "north.air", "u": "Cel", "t": 1772344800, "v": 3.25}


def test_alarms_are_a_json_array(run, recording, tmp_path):
    run("import", recording)
    file = tmp_path / "alarms.json"
    assert run("export", "--alarms", file)[0] == 0
    assert json.loads(file.read_text()) == []


def test_export_without_a_store_is_a_fault_with_a_next_step(run):
    status, _, err = run("export", "--readings", "-")
    assert status == 1
    assert "Try:" in err


def test_export_into_a_folder_that_is_not_there(run, recording, tmp_path):
    run("import", recording)
    status, _, err = run("export", "--readings", tmp_path / "no" / "x.csv")
    assert status == 2
    assert "Try: give another file or folder" in err


def test_a_backup_can_be_restored(run, recording, tmp_path):
    """What came after the backup is gone from the store, and kept beside it."""
    run("import", recording)
    copy = tmp_path / "copy.db"
    assert run("backup", copy)[0] == 0
    later = tmp_path / "later.csv"
    later.write_text("time,north.air\n2026-03-03T06:00Z,7.0\n")
    run("import", later)
    status, out, _ = run("restore", copy, "--force")
    assert status == 0
    assert "is kept as" in out
    _, out, _ = run("export", "--readings", "-")
    assert 7.0 not in cells(out).values()
    assert len(cells(out)) == 3


def test_a_backup_without_a_name_goes_to_the_folder(run, recording, tmp_path):
    run("import", recording)
    assert run("backup")[0] == 0
    assert len(list((tmp_path / "backups").glob("propstick-*.db"))) == 1


def test_what_is_no_backup_is_not_restored(run, recording, tmp_path):
    run("import", recording)
    status, _, err = run("restore", recording)
    assert status == 1
    assert "Traceback" not in err
    assert run("export", "--readings", "-")[0] == 0


def column(name):
    box, place, *_ = name.split(".")
    return Probe(id=name, box=box, place=place)


def test_a_column_of_a_place_with_two_probes_must_say_which():
    garden = Garden(
        boxes=(Box(name="north"),),
        probes=(Probe(id="n1/t", box="north", place="air"), Probe(id="28-0a", box="north", place="air")),
    )
    assert stored_ids((column("north.air.28-0a"), column("north.air.n1-t")), garden) == ("28-0a", "n1/t")
    with pytest.raises(InputError, match="a place with 2 probes"):
        stored_ids((column("north.air"),), garden)


def test_columns_of_places_without_a_probe_are_said_to_be_used_by_nothing(run, recording):
    """Stored they are; but no page, night or alarm would show them, and nobody would know why."""
    _, out, _ = run("import", recording)
    assert "no probe is there in the garden file: north.soil" in out
    assert "probes name ID north soil" in out
    _, out, _ = run("import", recording, "--json")
    assert json.loads(out)["without_a_place"] == ["north.soil"]


def test_a_stretch_that_ends_before_it_begins_is_refused(run, recording):
    """An empty file would look like an answer."""
    run("import", recording)
    status, _, said = run("export", "--readings", "-", "--from", "2026-03-05", "--to", "2026-03-01")
    assert status == cli.REFUSED
    assert "the earlier one first" in said
