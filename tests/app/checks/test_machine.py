"""What check finds of this machine: a clock that cannot be believed."""

import pytest

from propstick.app.checks import machine
from propstick.app.garden_file.load import parse

NOW_S = 1_784_000_000


@pytest.fixture
def settings(tmp_path):
    return parse('[site]\nlatitude = 52.35\nlongitude = -6.46\nzone = "Europe/Dublin"\n', tmp_path / "g.toml")


@pytest.mark.parametrize(
    ("now_s", "last_row_s", "synchronised", "mark", "word"),
    [
        (NOW_S, NOW_S - 60, True, "ok", "synchronised"),
        (NOW_S, None, None, "ok", "2026-07-14"),
        (NOW_S, NOW_S - 60, False, "look", "not synchronised"),
        (3600, None, False, "bad", "not set"),
        (NOW_S, NOW_S + 86_400, True, "bad", "before the last row"),
    ],
)
def test_a_clock_that_cannot_be_right_is_found(settings, now_s, last_row_s, synchronised, mark, word):
    found = machine.clock(settings, now_s=now_s, last_row_s=last_row_s, synchronised=synchronised)
    assert found.mark == mark
    assert word in found.found
