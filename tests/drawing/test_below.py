"""The lid's strip in words."""

import pytest

from propstick.drawing.below import lid_strip
from propstick.drawing.scales import TimeScale
from propstick.drawing.scene import BoxNight
from propstick.records import LidOpening

TIMES = TimeScale(0, 36_000, 42.0, 374.0, "UTC")


@pytest.mark.parametrize(
    ("opening", "word"),
    [(0.0, "closed"), (0.1, "propped"), (0.3, "propped"), (0.5, "50% open"), (1.0, "open")],
)
@pytest.mark.parametrize("known_from", ["told", "contact", "estimate"])
def test_an_opening_is_named_and_a_guess_says_so(opening, word, known_from):
    """Height and tint only repeat it."""
    lid = LidOpening(box="north", time_s=-60, opening=opening, known_from=known_from)
    drawn = lid_strip(BoxNight(name="north", lids=(lid,)), TIMES, 0.0)
    assert (f">{word} (estimated)<" in drawn) == (known_from == "estimate")
    assert (f">{word}<" in drawn) == (known_from != "estimate")


def test_nothing_known_is_said():
    """Not drawn as shut."""
    assert ">not known<" in lid_strip(BoxNight(name="north"), TIMES, 0.0)
