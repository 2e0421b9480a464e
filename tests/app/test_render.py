"""SVG to PNG."""

import struct
import sys

import pytest

from propstick.app.render import ZOOM, png
from propstick.app.replay.scene import scene_of
from propstick.drawing import night_picture
from propstick.errors import ConfigError


def test_a_night_becomes_a_png_of_its_size(spring_report):
    """Signature and header as PNG (ISO/IEC 15948) has them; two pixels a unit."""
    pytest.importorskip("resvg_py", reason="the extra png is not installed")
    svg = night_picture(scene_of(spring_report))
    data = png(svg)
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", data[16:24])
    assert width == 440 * ZOOM
    assert f'height="{height // ZOOM}"' in svg


def test_without_the_extra_the_error_says_what_to_do(monkeypatch):
    """No traceback of an import."""
    monkeypatch.setitem(sys.modules, "resvg_py", None)
    with pytest.raises(ConfigError) as refused:
        png("<svg/>")
    assert "propstick[png]" in refused.value.hint
