"""The season's picture: curves told apart by stroke, sowings as rings on them, names that do not overlap."""

import itertools
import xml.etree.ElementTree as ET
from datetime import date, timedelta

from propstick.drawing.season import SowingPoint, Warmth, season_picture

SVG = "{http://www.w3.org/2000/svg}"
DAYS = [date(2026, 3, 1) + timedelta(days=k) for k in range(11)]


def _picture():
    curves = [
        Warmth(name="north", by_day=[10.0 * k for k in range(11)]),
        Warmth(name="lane", by_day=[9.9 * k for k in range(11)]),
        Warmth(name="outside", by_day=[None, *(2.0 * k for k in range(1, 11))], is_outside=True),
    ]
    point = SowingPoint(name="leek & onion", curve="north", day=5, warmth=50.0)
    return ET.fromstring(season_picture(DAYS, curves, [point], words="warmth"))


def test_a_sowing_is_a_ring_on_its_curve():
    """Day five of a straight line from nothing to the top is the middle of it."""
    root = _picture()
    (ring,) = root.iter(f"{SVG}circle")
    north = next(root.iter(f"{SVG}path")).get("d")[1:].split("L")
    first, last = ([float(v) for v in point.split()] for point in (north[0], north[-1]))
    assert float(ring.get("cx")) == (first[0] + last[0]) / 2
    assert float(ring.get("cy")) == (first[1] + last[1]) / 2


def test_curves_differ_by_stroke_and_names_do_not_overlap():
    """Three dash patterns; names at least a line apart."""
    root = _picture()
    assert len({p.get("stroke-dasharray") for p in root.iter(f"{SVG}path")}) == 3
    heights = sorted(
        float(t.get("y")) for t in root.iter(f"{SVG}text") if t.text in ("north", "lane", "outside")
    )
    assert all(b - a >= 14 for a, b in itertools.pairwise(heights))


def test_a_season_without_a_reading_is_an_empty_sheet():
    """No curve, no fault."""
    svg = season_picture(DAYS[:1], [Warmth(name="north", by_day=[None])], [], words="none")
    assert not list(ET.fromstring(svg).iter(f"{SVG}path"))
