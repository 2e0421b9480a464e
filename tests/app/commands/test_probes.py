"""`probes list` and `name` on a tree in the kernel's own format."""

import json
import tomllib

import pytest

from propstick.app import cli
from propstick.edges.onewire_tree import Tree

A, B, C = "28-00000000000a", "28-00000000000b", "28-00000000000c"
GARDEN = f"""\
[site]
name = "lane"
[[box]]
name = "north"
[[probe]]
id = "{A}"  # red tape
box = "north"
place = "air"
correction_c = 0.5
[onewire]
tree = "w1"
"""


@pytest.fixture
def garden(tmp_path):
    """A garden file beside a tree with three probes, of which it names one."""
    tree = Tree(tmp_path / "w1")
    for probe, value_c in ((A, 12.5), (B, 8.0), (C, 9.0)):
        tree.add(probe, value_c)
    file = tmp_path / "garden.toml"
    file.write_text(GARDEN)
    return file, tree


def run(file, *words):
    return cli.main(["probes", *words, "--garden", str(file)])


def test_list_shows_place_value_and_fault(garden, capsys):
    file, tree = garden
    tree.bad_checksum(B)
    assert run(file, "list") == 0
    rows = {line.split()[0]: line for line in capsys.readouterr().out.splitlines()[1:]}
    assert "north air" in rows[A]
    assert "13.0 °C" in rows[A]  # 12.5 and its correction of 0.5
    assert "no place yet" in rows[B]
    assert rows[B].endswith("checksum")


def test_list_as_json_gives_raw_and_corrected(garden, capsys):
    file, _ = garden
    assert run(file, "list", "--json") == 0
    first = json.loads(capsys.readouterr().out)[0]
    assert (first["id"], first["value"], first["corrected"], first["flags"]) == (A, 12.5, 13.0, [])


def test_a_probe_that_is_gone_is_still_listed(garden, capsys):
    file, tree = garden
    tree.vanish(A)
    run(file, "list")
    assert "not seen" in next(row for row in capsys.readouterr().out.splitlines() if row.startswith(A))


def test_name_writes_the_place_and_keeps_comments(garden, capsys):
    file, _ = garden
    assert run(file, "name", B, "outside", "air") == 0
    assert "# red tape" in file.read_text()
    assert tomllib.loads(file.read_text())["probe"][1] == {"id": B, "box": "outside", "place": "air"}


@pytest.mark.parametrize(
    ("box", "place", "word"), [("nort", "air", "north, outside"), ("north", "sky", "air, soil")]
)
def test_name_refuses_what_the_garden_does_not_have(garden, capsys, box, place, word):
    file, _ = garden
    assert run(file, "name", B, box, place) == 2
    assert word in capsys.readouterr().err
    assert file.read_text() == GARDEN


def test_a_loose_probe_is_named_listed_and_its_spot_must_be_there(garden, capsys):
    file, _ = garden
    assert run(file, "name", B, "spot", "lane") == 2
    assert "got spot 'lane', expected one of none is there" in capsys.readouterr().err
    file.write_text(GARDEN + '[[spot]]\nname = "lane"\n')
    assert run(file, "name", B, "spot", "lane") == 0
    assert f"{B} is now the loose probe on spot lane, in" in capsys.readouterr().out
    run(file, "list")
    row = next(row for row in capsys.readouterr().out.splitlines() if row.startswith(B))
    assert "spot lane air" in row
    assert run(file, "list", "--json") == 0
    found = {one["id"]: one for one in json.loads(capsys.readouterr().out)}
    assert (found[B]["box"], found[B]["spot"], found[B]["place"]) == (None, "lane", "air")
    assert (found[A]["box"], found[A]["spot"]) == ("north", None)


def test_a_second_probe_in_a_place_is_said(garden, capsys):
    """Who changed a broken probe for another leaves the old one behind, and it would be missed for ever."""
    file, _ = garden
    assert run(file, "name", B, "north", "air") == 0
    said = capsys.readouterr().err
    assert f"2 probes now, with {A}" in said
    assert "delete that one's [[probe]]" in said
