"""The PDF: one sheet whatever the season, and no letter that stops it."""

import base64
import re
import zlib

import pytest

from propstick.app.season.contents import Grid, Heading, Points, Words
from propstick.app.season.paper import paper

pytest.importorskip("reportlab")


def season(batches):
    rows = tuple((f"{k} rocket", "north", "1 Mar", "14 Mar, exp. 13 Mar") for k in range(batches))
    return [
        Heading("plot: the season", level=1),
        Heading("What was sown"),
        Grid(("Batch", "Place", "Sown", "Up"), rows),
        *[Words(f"{k} rocket", "Likely to flower from 24 Jun, at 21 °C. " * 3) for k in range(batches)],
        Words("", "Small print", quiet=True),
        Points(("open it further", "sow earlier")),
    ]


def text_of(pdf):
    """The page's operators, as ISO 32000-1 has them: streams in ASCII-85 around Flate."""
    streams = re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL)
    return b"".join(
        zlib.decompress(base64.a85decode(one.strip().removesuffix(b"~>"))) for one in streams
    ).decode("cp1252")


@pytest.mark.parametrize("batches", [1, 5, 40])
def test_it_is_one_sheet_with_everything_on_it(batches):
    made = paper(season(batches))
    assert b"/Count 1 " in made.replace(b"\n", b" ")
    text = text_of(made)
    assert text.count("exp. 13 Mar") == batches
    assert "sow earlier" in text


def test_letters_of_other_scripts_and_markup_do_no_harm():
    made = paper([Heading("Łódź & <b>sól</b> 菜園", level=1), Words("<i>", "5 < 7 & more")])
    assert "5 < 7 & more" in text_of(made)


def test_the_same_season_is_the_same_file():
    assert paper(season(3)) == paper(season(3))
