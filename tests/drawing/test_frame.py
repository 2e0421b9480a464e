"""The side view: the lid where it is, the dashed line where it should be, words for who cannot see it."""

import xml.etree.ElementTree as ET
from math import atan2, degrees

import pytest

from propstick.drawing.frame import frame_picture, lid_degrees

SVG = "{http://www.w3.org/2000/svg}"


def _lines(svg, css):
    return [e for e in ET.fromstring(svg).iter(f"{SVG}line") if e.get("class") == css]


def _slope(line):
    run, drop = float(line.get("x2")) - float(line.get("x1")), float(line.get("y2")) - float(line.get("y1"))
    return degrees(atan2(-drop, run))


@pytest.mark.parametrize("opening", [0.0, 0.3, 1.0])
def test_the_lid_stands_at_its_angle(opening):
    """Measured on the paper against the lid that lies shut, to the half degree the rounding leaves."""
    shut = _slope(_lines(frame_picture(words="", opening=0.0), "ps-l-ink")[0])
    lid = _slope(_lines(frame_picture(words="", opening=opening), "ps-l-ink")[0])
    assert lid - shut == pytest.approx(lid_degrees(opening), abs=0.5)


def test_a_lid_ajar_is_seen_to_be_open():
    """One hundredth open is drawn as more than a line's width, and more opening never as less."""
    angles = [lid_degrees(k / 100) for k in range(101)]
    assert angles[1] >= 5
    assert angles == sorted(angles)


def test_the_next_angle_is_a_thin_dashed_line_with_its_word():
    """Only where it differs from the angle the lid has."""
    svg = frame_picture(words="", opening=0.0, next_opening=1.0, next_word="next")
    (line,) = _lines(svg, "ps-l-said")
    assert line.get("stroke-dasharray")
    assert float(line.get("stroke-width")) < float(_lines(svg, "ps-l-ink")[0].get("stroke-width"))
    assert "next" in [t.text for t in ET.fromstring(svg).iter(f"{SVG}text")]
    assert not _lines(frame_picture(words="", opening=1.0, next_opening=1.0), "ps-l-said")


def test_a_lid_nobody_knows_of_is_not_drawn():
    """Words stand in its place."""
    svg = frame_picture(words="lane <b>", opening=None, unknown_word="lid not known")
    assert not _lines(svg, "ps-l-ink")
    assert "lid not known" in svg
    assert ET.fromstring(svg).get("aria-label") == "lane <b>"


@pytest.mark.parametrize("opening", [0.0, 0.5, 1.0])
def test_everything_lies_on_the_paper(opening):
    """Lids end inside the picture, also the dashed one."""
    svg = frame_picture(
        words="", opening=opening, next_opening=1.0 - opening, next_word="next", is_night=True
    )
    left, top, width, height = map(float, ET.fromstring(svg).get("viewBox").split())
    for line in _lines(svg, "ps-l-ink") + _lines(svg, "ps-l-said"):
        assert left <= float(line.get("x2")) <= left + width
        assert top <= float(line.get("y2")) <= top + height
