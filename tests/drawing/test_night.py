"""The picture of a night: what a tired person must be able to read off it, also without colours."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from propstick.drawing import BoxNight, Line, NightScene, night_picture

SVG = "{http://www.w3.org/2000/svg}"


def words(svg):
    """Every text of the picture, once."""
    return list(dict.fromkeys(t.text or "" for t in ET.fromstring(svg).iter(f"{SVG}text")))


def test_everything_that_matters_is_written_out(scene):
    """Boxes, worst minutes, curves by name, limits, sun, lid, cover, alarms, what was sent."""
    told = words(night_picture(scene))
    for expected in (
        "Night of 12 April 2026", "north", "lane", "inside", "outside", "soil", "if open",
        "frost limit 1.0 °C", "sunset 19:10", "sunrise 06:45", "closed", "60%", "covered", "Sent", "20:00",
        "20:12 to 04:00: frost ahead", "04:18 to 06:30: frost, lowest −0.6 °C",
        "soil cold since 11 Apr 12:00, lowest −0.5 °C",
        "as said then: lowest expected, 9 in 10 within the bar",
    ):  # fmt: skip
        assert expected in told, expected
    assert "lowest 2.0 °C at 06:00" in told
    assert any(re.fullmatch(r"lowest −0\.\d °C at 05:\d\d", t) for t in told)
    assert "Cover north before bed" in " ".join(told)


@pytest.mark.parametrize(
    ("value", "unit", "sign", "written"),
    [(-0.04, "C", ".", "0.0 °C"), (-1.25, "C", ",", "−1,2 °C"), (-40, "F", ".", "−40.0 °F")],
)
def test_degrees_in_words(scene, value, unit, sign, written):
    """A true minus sign, and none before a zero. −40 is the same in both."""
    assert replace(scene, unit=unit, decimal_sign=sign).degrees(value) == written


def test_the_picture_reads_as_its_person_does(scene):
    """A comma and am and pm throughout: no point and no bare hour is left."""
    told = words(night_picture(replace(scene, twelve_hour=True, decimal_sign=",")))
    for expected in ("frost limit 1,0 °C", "sunset 7:10 pm", "lowest 2,0 °C at 6:00 am", "8:00 pm", "6 am"):
        assert expected in told, expected
    assert "8:12 pm to 4:00 am: frost ahead" in told
    # What was sent stands as it was sent.
    assert not [t for t in told if re.search(r"\d\.\d °", t) and not t.startswith("Cover north")]


def test_curves_differ_by_stroke_not_by_colour_alone(scene):
    """Solid and thick, dashed, dotted, dash-dotted."""
    style = night_picture(scene).partition("</style>")[0]
    strokes = {
        name: re.search(rf"\.ps-{name}{{([^}}]*)}}", style)[1] for name in ("air", "outside", "soil", "said")
    }
    assert len(set(strokes.values())) == 4
    assert "dasharray" not in strokes["air"]


def test_a_silence_is_a_gap_in_the_curve(scene):
    """Nothing is drawn where nothing was heard."""
    paths = [
        p for p in ET.fromstring(night_picture(scene)).iter(f"{SVG}path") if "ps-air " in p.get("class", "")
    ]
    assert [p.get("d").count("M") for p in paths] == [2, 1]


def test_every_text_lies_on_the_paper(scene):
    """At 0.55 em a letter (English in DejaVu Sans measured about 0.5), nothing runs off either edge."""
    root = ET.fromstring(night_picture(scene))
    for element in root.iter(f"{SVG}text"):
        width = 0.55 * float(element.get("font-size")) * len(element.text or "")
        x = float(element.get("x"))
        left = {"start": x, "middle": x - width / 2, "end": x - width}[element.get("text-anchor")]
        assert left >= -1, element.text
        assert left + width <= 440, element.text
        assert 0 < float(element.get("y")) < float(root.get("height"))


def test_it_has_words_for_those_who_do_not_see_it(scene):
    """A role, a title and the worst minutes in the description."""
    root = ET.fromstring(night_picture(scene))
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").text == scene.title
    assert "lane: lowest 2.0 °C at 06:00." in root.find(f"{SVG}desc").text


def test_fahrenheit(scene):
    """Every temperature in the person's unit."""
    told = words(night_picture(replace(scene, unit="F")))
    assert "frost limit 33.8 °F" in told
    assert not any(
        "°C" in t for t in told if "Cover" not in t and "frost limit 1 °C" not in t and "to −0.6" not in t
    )


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", 'a"b&c', "n" * 40, "\x00\x1b"])
def test_names_are_text_whatever_they_hold(scene, name):
    """Also of a site nobody checked."""
    root = ET.fromstring(
        night_picture(replace(scene, site=name, boxes=(replace(scene.boxes[0], name=name),)))
    )
    assert not list(root.iter(f"{SVG}script"))


def test_little_data_draws_little():
    """No box, no reading, one reading: a picture all the same."""
    blank = NightScene(title="Night of 1 May 2026", site="x", start_s=0, end_s=36_000)
    assert "Nothing was sent." in words(night_picture(blank))
    silent = replace(blank, boxes=(BoxNight(name="north"),))
    assert "no reading" in words(night_picture(silent))
    once = Line(np.array([600]), np.array([4.0]))
    lonely = replace(blank, boxes=(BoxNight(name="outside", air=once, worst_c=4.0, worst_s=600),))
    svg = night_picture(lonely)
    assert "<circle" in svg
    assert "lid" not in words(svg)


def test_many_alarms_and_notices_end_in_a_count(scene):
    """Five and six are listed, the rest counted."""
    alarm, notice = scene.boxes[0].alarms[1], scene.notices[0]
    box = replace(scene.boxes[0], alarms=tuple(replace(alarm, id=str(k)) for k in range(9)))
    told = words(night_picture(replace(scene, boxes=(box,), notices=(notice,) * 9)))
    assert "and 4 more alarms" in told
    assert "and 3 more" in told


def test_the_picture_of_a_night_is_small(scene):
    """Sent to a phone in the garden."""
    assert len(night_picture(scene)) < 100_000
