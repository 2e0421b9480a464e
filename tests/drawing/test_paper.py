"""SVG elements as text."""

import xml.etree.ElementTree as ET

from hypothesis import given
from hypothesis import strategies as st

from propstick.drawing import paper


@given(st.text())
def test_any_text_makes_well_formed_xml(words):
    """Markup, quotes, control characters, lone surrogates of a damaged file."""
    root = ET.fromstring(f"<svg>{paper.text(1, 2, words, halo=True)}</svg>")
    assert len(root) == 2
    assert all(child.tag == "text" for child in root)


def test_text_is_shown_as_it_is():
    """Escaped, not dropped."""
    assert ET.fromstring(paper.text(0, 0, "<b>&\"'")).text == "<b>&\"'"


def test_the_style_has_a_light_and_a_dark_rule_for_every_class():
    """Whoever prefers dark gets every colour in dark."""
    light, _, dark = paper.style().partition("@media (prefers-color-scheme: dark)")
    names = {
        rule.split("{")[0] for rule in dark.replace("{.ps-", "}.ps-").split("}") if rule.startswith(".ps-")
    }
    assert len(names) > 20
    assert all(f"{name}{{" in light for name in names)


def test_nothing_is_fetched():
    """No font, picture or script from elsewhere."""
    assert "http" not in paper.style()
    assert "url(" not in paper.style()


def test_coordinates_have_one_decimal_at_most():
    """The picture of a night stays small."""
    assert [paper.num(v) for v in (1.0, 2.449, -0.25)] == ["1", "2.4", "-0.2"]
