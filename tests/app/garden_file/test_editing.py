"""Edits of the grower's file: comments stay, half a file never stands, nobody's work is overwritten."""

import os
import tomllib

import pytest

from propstick.app.garden_file import editing as garden_file
from propstick.app.garden_file.editing import assign, correct, edit
from propstick.errors import ConfigError, InputError

TEXT = """\
# my garden
[site]
name = "lane"

[[box]]      # by the wall
name = "north"
  [box.alarms]
  heat_c = 26   # lettuce

[[probe]]  # the good one
id = "28-3c01b556e1a2" # red tape
box = "north"
place = "air"

# told at the end
[push]
urls = []
"""
RED = "28-3c01b556e1a2"
NEW = "28-00000000000a"


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "garden.toml"
    path.write_text(TEXT)
    return path


def lines_but(text, *left_out):
    return [line for line in text.splitlines() if not any(part in line for part in left_out)]


def test_a_new_probe_stands_after_the_others_and_before_what_follows(file):
    edit(file, assign(NEW, "outside", "air"))
    text = file.read_text()
    assert tomllib.loads(text)["probe"][1] == {"id": NEW, "box": "outside", "place": "air"}
    assert text.index(RED) < text.index(NEW) < text.index("# told at the end") < text.index("[push]")


def test_a_known_probe_moves_and_everything_else_stays(file):
    edit(file, assign(RED, "outside", "soil"))
    assert tomllib.loads(file.read_text())["probe"] == [{"id": RED, "box": "outside", "place": "soil"}]
    changed = ("box =", "place =")
    assert lines_but(file.read_text(), *changed) == lines_but(TEXT, *changed)


def test_the_first_probe_of_a_file(file):
    bare = TEXT[: TEXT.index("[[probe]]")]
    file.write_text(bare)
    edit(file, assign(NEW, "north", "air"))
    assert file.read_text().startswith(bare)
    assert tomllib.loads(file.read_text())["probe"] == [{"id": NEW, "box": "north", "place": "air"}]


@pytest.mark.parametrize("old", ["", "correction_c = 0.5  # by guess\n", "correction_f = 0.9\n"])
def test_a_correction_takes_the_place_of_the_old_one(file, old):
    file.write_text(TEXT.replace('place = "air"\n', 'place = "air"\n' + old))
    edit(file, correct(RED, -0.125, comment="ice water 2026-03-01, mean of 10, scatter 0.03 °C"))
    probe = tomllib.loads(file.read_text())["probe"][0]
    assert probe["correction_c"] == pytest.approx(-0.12, abs=0.006)
    assert "correction_f" not in probe
    assert "# ice water 2026-03-01, mean of 10, scatter 0.03 °C" in file.read_text()
    assert lines_but(file.read_text(), "correction") == lines_but(TEXT)


def test_a_probe_the_file_does_not_name_gets_no_correction(file):
    with pytest.raises(InputError, match="not in the garden file"):
        edit(file, correct(NEW, 0.1, comment="x"))
    assert file.read_text() == TEXT


def test_an_edit_that_would_break_the_file_is_refused(file):
    with pytest.raises(ConfigError, match="'nort'"):
        edit(file, assign(NEW, "nort", "air"))
    assert file.read_text() == TEXT


def test_a_file_changed_meanwhile_is_left_alone(file):
    def slow(text):
        file.write_text(TEXT + "# typed in the editor\n")
        return assign(NEW, "north", "soil")(text)

    with pytest.raises(ConfigError, match="changed by somebody else"):
        edit(file, slow)
    assert file.read_text() == TEXT + "# typed in the editor\n"
    assert list(file.parent.iterdir()) == [file]


def test_a_power_cut_before_the_rename_leaves_the_old_file_whole(file, monkeypatch):
    def cut(*_):
        raise OSError("no power")

    monkeypatch.setattr(garden_file.os, "replace", cut)
    with pytest.raises(ConfigError, match="cannot be written"):
        edit(file, assign(NEW, "north", "soil"))
    assert file.read_text() == TEXT
    assert list(file.parent.iterdir()) == [file]


def test_mode_stays_and_a_link_stays_a_link(file, tmp_path):
    file.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(file)
    edit(link, assign(NEW, "north", "soil"))
    assert link.is_symlink()
    assert os.stat(file).st_mode & 0o777 == 0o640
    assert NEW in file.read_text()


def test_a_probe_goes_loose_on_a_spot_and_back_into_a_box(file):
    file.write_text(TEXT + '[[spot]]\nname = "lane"\n')
    edit(file, assign(RED, "lane", "air", is_loose=True))
    assert tomllib.loads(file.read_text())["probe"] == [{"id": RED, "spot": "lane", "place": "air"}]
    assert "# the good one" in file.read_text()
    edit(file, assign(RED, "north", "air"))
    assert tomllib.loads(file.read_text())["probe"] == [{"id": RED, "box": "north", "place": "air"}]
    edit(file, assign(NEW, "lane", "air", is_loose=True))
    assert tomllib.loads(file.read_text())["probe"][1] == {"id": NEW, "spot": "lane", "place": "air"}
