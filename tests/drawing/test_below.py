"""The lid's strip and the alarms in words."""

from dataclasses import replace

import pytest

from propstick.drawing.below import alarm_list, lid_strip
from propstick.drawing.scales import TimeScale
from propstick.drawing.scene import BoxNight
from propstick.records import Alarm, LidOpening

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


@pytest.mark.parametrize(
    ("raised_h", "returned_h", "words"),
    [
        (3, 8, "20:00 to 01:00: frost"),
        (11, 17, "04:00 to 10:00: frost"),
        (-2, 3, "15:00 to 20:00: frost"),
        (-12, 3, "12 Apr 05:00 to 20:00: frost"),
        (11, 30, "04:00 to 13 Apr 23:00: frost"),
        (3, None, "frost since 20:00"),
    ],
)
def test_a_day_is_named_only_where_the_clock_alone_would_mislead(scene, raised_h, returned_h, words):
    """The morning after is no other day to who reads of the night: 04:00 to 10:00."""
    alarm = Alarm(
        id="a", box="north", kind="frost", state="normal", begun_s=0,
        raised_s=scene.start_s + raised_h * 3600,
        returned_s=None if returned_h is None else scene.start_s + returned_h * 3600,
    )  # fmt: skip
    utc = replace(scene, zone="UTC")
    drawn, _ = alarm_list([alarm], utc, TimeScale(utc.start_s, utc.end_s, 42.0, 374.0, "UTC"), 0.0)
    assert f">{words}<" in drawn
