"""The pictures are what `hardware/draw.py` draws, can be read, and show a wiring that works."""

import importlib.util
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
SVG = "{http://www.w3.org/2000/svg}"
NAMES = ("wiring.svg", "shapes.svg", "placing.svg", "shield.svg", "lid.svg")


@pytest.fixture(scope="module")
def draw():
    spec = importlib.util.spec_from_file_location("draw", HARDWARE / "draw.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_picture_in_the_repository_is_the_one_drawn_today(draw, tmp_path):
    assert draw.main([str(tmp_path)]) == 0
    drawn = {path.name: path.read_text() for path in tmp_path.iterdir()}
    assert drawn == {path.name: path.read_text() for path in (HARDWARE / "drawings").iterdir()}
    assert set(drawn) == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_is_shown_and_can_be_told_in_words(name):
    """Used in the README; with a title and a description for those who do not see it (SVG 2, section 5.7)."""
    assert f"drawings/{name}" in (HARDWARE / "README.md").read_text()
    root = ElementTree.parse(HARDWARE / "drawings" / name).getroot()
    assert root.find(f"{SVG}title").text
    assert len(root.find(f"{SVG}desc").text) > 60


@pytest.mark.parametrize("name", NAMES)
def test_nothing_sticks_out(name):
    """Words counted at 0.62 of their size each: DejaVu Sans on average, a little more."""
    root = ElementTree.parse(HARDWARE / "drawings" / name).getroot()
    _, _, width, height = map(float, root.get("viewBox").split())
    for word in root.iter(f"{SVG}text"):
        size = float(root.get("font-size"))
        long = len(word.text) * size * 0.62
        left = float(word.get("x")) - {"start": 0.0, "middle": long / 2, "end": long}[word.get("text-anchor")]
        assert left >= 0, word.text
        assert left + long <= width, word.text
        assert size <= float(word.get("y")) <= height - 4, word.text
    for shape in [*root.iter(f"{SVG}polyline"), *root.iter(f"{SVG}polygon")]:
        for x, y in (map(float, point.split(",")) for point in shape.get("points").split()):
            assert 0 <= x <= width
            assert 0 <= y <= height


def test_the_wiring_works(draw):
    """Three wires to each probe, the pull-up from 3.3 V to the line, the clamp from the line to ground."""
    net_of = {end: net for net, ends in draw.NETS.items() for end in ends}
    assert len(net_of) == sum(map(len, draw.NETS.values())), "an end on two nets is a short"
    assert (net_of["pull-up.a"], net_of["pull-up.b"]) == ("3.3 V", "data")
    assert (net_of["clamp.a"], net_of["clamp.b"]) == ("data", "ground")
    assert (net_of["series.a"], net_of["series.b"]) == ("pin", "data")
    assert {net_of[f"probe.{c}"] for c in ("red", "yellow", "black")} == {"3.3 V", "data", "ground"}


def test_the_pins_are_those_of_the_board(draw):
    """gpiozero's board table: 1 is 3.3 V, 7 is GPIO 4, 9 is ground; GPIO 4 is the overlay's default."""
    assert draw.PINS == {"3.3 V": 1, "data": 7, "ground": 9}
    assert {f"pi.{pin}" for pin in draw.PINS.values()} == {
        end for ends in draw.NETS.values() for end in ends if end.startswith("pi.")
    }


def test_the_readme_says_the_same_as_the_picture(draw):
    text = (HARDWARE / "README.md").read_text()
    rows = dict(re.findall(r"^\| ([\w.]+(?: V)?) \(usually [^)]*\) \| (\d+)", text, re.M))
    assert {name: int(pin) for name, pin in rows.items()} == draw.PINS
    assert all(value in text for value in draw.VALUES.values())


def test_a_low_signal_stays_low_enough(draw):
    """The pin pulls the line down through the series resistor against the pull-up. The datasheet takes
    up to 0.8 V as low (DS18B20, DC characteristics)."""
    ohm = {name: float(v.split()[0]) * (1000 if "kΩ" in v else 1) for name, v in draw.VALUES.items()}
    assert 3.3 * ohm["series"] / (ohm["series"] + ohm["pull-up"]) < 0.8 / 2
