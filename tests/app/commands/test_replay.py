"""The command as a person gives it: ways in, what comes out where, exit status."""

import gzip
import io
import json
import sys

import pytest

from propstick.app import cli

GARDEN = """\
[site]
name = "plot"
latitude = 53.35
longitude = -6.26
zone = "Europe/Dublin"
unit = "F"
[[box]]
name = "north"
[box.alarms]
heat_c = 25.0
[store]
url = "sqlite:///{folder}/w.db"
[[probe]]
id = "28-00000000000a"
box = "north"
place = "air"
[[probe]]
id = "28-00000000000b"
box = "outside"
place = "air"
"""


@pytest.fixture
def run(capsys):
    """Runs the command; gives status, standard output and standard error."""

    def call(*words):
        status = cli.main(["replay", *map(str, words)])
        said = capsys.readouterr()
        return status, said.out, said.err

    return call


@pytest.fixture
def night(tmp_path, spring_csv):
    path = tmp_path / "night.csv"
    path.write_text(spring_csv(hours=22))
    return path


def test_json_is_all_there_is_on_standard_output(run, night, tmp_path):
    """Also with a picture, which is told of on standard error."""
    status, out, err = run(night, "--json", "--chart", tmp_path / "n.svg")
    assert status == 0
    assert json.loads(out)["readings"]["rows"] == 5 * (22 * 60 + 1)
    assert "n.svg" in err
    assert (tmp_path / "n.svg").read_text().startswith("<svg")


def test_ways_in_give_the_same_report(run, night, tmp_path, monkeypatch):
    """A path, standard input, gzip."""
    packed = tmp_path / "n.gz"
    packed.write_bytes(gzip.compress(night.read_bytes()))
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(night.read_bytes())))
    outs = {run(way, "--json")[1] for way in (night, packed, "-")}
    assert len(outs) == 1


def test_the_table_is_the_default(run, night):
    """One sentence first; times local to the site; nothing but ASCII letters needed to read it."""
    status, out, _ = run(night, "--site", "53.35,-6.26,Europe/Dublin")
    assert status == 0
    assert out.startswith("1 box: ")
    assert "times of Europe/Dublin" in out


@pytest.mark.parametrize(
    "words", [["--site", "-33.9,151.2,Australia/Sydney"], ["--site=-33.9,151.2,Australia/Sydney"]]
)
def test_negative_latitude_with_or_without_equals(run, night, words):
    """argparse would take it for an option."""
    status, out, _ = run(night, "--json", *words)
    assert status == 0
    assert json.loads(out)["site"]["latitude"] == -33.9


def test_without_a_site_the_report_says_so(run, night):
    """In both forms."""
    assert "plain methods" in json.loads(run(night, "--json")[1])["site"]["sun"]
    assert "The site is not known" in run(night)[1]


def test_settings_change_the_alarms(run, night):
    """A limit nobody reaches; given once per pair, in °F too."""
    assert any(a["kind"] == "heat" for a in json.loads(run(night, "--json")[1])["alarms"])
    report = json.loads(run(night, "--json", "--set", "north.heat_f=113", "--set", "frost_c=-10")[1])
    assert not {"heat", "frost"} & {a["kind"] for a in report["alarms"]}


def test_the_garden_files_limits_unit_and_zone_are_used(run, night, tmp_path):
    """Naive times are read on its clock; notices speak its unit; a box it does not know is refused."""
    file = tmp_path / "garden.toml"
    file.write_text(GARDEN.format(folder=tmp_path))
    night.write_text(night.read_text().replace("Z,", ","))
    report = json.loads(run(night, "--garden", file, "--json")[1])
    assert report["from"] == "2026-04-11T11:00:00Z"
    heat = next(a for a in report["alarms"] if a["kind"] == "heat")
    assert heat["limit_c"] == 25.0
    assert "°F" in heat["message"]
    night.write_text(night.read_text().replace("north.air", "south.air"))
    status, _, err = run(night, "--garden", file)
    assert status == 2
    assert "north, outside" in err


def test_what_if(run, night, tmp_path):
    """An answer in the JSON, a sentence in the table, a curve in the picture."""
    words = ("--site", "53.35,-6.26,Europe/Dublin", "--what-if", "north open 22:00")
    found = json.loads(run(night, "--json", *words)[1])["what_if"]
    assert (found["box"], found["action"], found["at"]) == ("north", "open", "2026-04-11T21:00:00Z")
    assert found["min_c"] <= found["observed_min_c"]
    _, out, _ = run(night, *words, "--chart", tmp_path / "w.svg")
    assert "With north open from 11 Apr 22:00 on" in out
    assert "if open" in (tmp_path / "w.svg").read_text()


def test_a_night_from_the_store(run, night, tmp_path, capsys):
    """Imported, then replayed by its date, with a what-if of that afternoon."""
    file = tmp_path / "garden.toml"
    file.write_text(GARDEN.format(folder=tmp_path))
    assert cli.main(["import", str(night), "--garden", str(file)]) == 0
    capsys.readouterr()
    words = ("--night", "2026-04-11", "--garden", file, "--json")
    status, out, _ = run(*words, "--chart", tmp_path / "n.svg")
    assert status == 0
    assert [n["night"] for n in json.loads(out)["nights"]] == ["2026-04-11"]
    report = json.loads(run(*words, "--what-if", "north closed 16:30")[1])
    assert report["what_if"]["at"] == report["from"] == "2026-04-11T15:30:00Z"
    assert run("--night", "2025-01-01", "--garden", file)[0] == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "neither a recording nor --night"),
        (["missing.csv"], "no such file"),
        (["NIGHT", "--set", "heat=9"], "heat_c"),
        (["NIGHT", "--site", "53.35"], "--site"),
        (["NIGHT", "--what-if", "north ajar 10:00"], "closed|open|propped|covered"),
        (["NIGHT", "--what-if", "south open 10:00"], "north"),
        (["NIGHT", "--chart", "n.pdf"], ".svg or .png"),
        (["NIGHT", "--chart", "no/such/folder/n.svg"], "folder"),
        (["--night", "yesterday"], "2026-04-12"),
        (["NIGHT", "--unit", "K"], "--unit"),
        (["NIGHT", "--garden", "nowhere.toml"], "nowhere.toml"),
    ],
)
def test_refused_with_status_2(run, night, words, said):
    """Nothing on standard output, the reason on the other, no traceback."""
    status, out, err = run(*(night if word == "NIGHT" else word for word in words))
    assert (status, out) == (2, "")
    assert said in err
    assert "Traceback" not in err


def test_flags_do_not_change_the_status(run, night):
    """Read and replayed is 0, whatever was wrong with single readings."""
    night.write_text(night.read_text().replace(",8.", ",oops", 5))
    status, out, _ = run(night, "--json")
    assert status == 0
    assert json.loads(out)["readings"]["flagged"] == {"not-a-number": 5}
