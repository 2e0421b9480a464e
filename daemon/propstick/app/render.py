"""SVG to PNG, through resvg (extra `png`)."""

from __future__ import annotations

from propstick.errors import ConfigError

ZOOM = 2
"""Pixels a unit: 880 across, sharp on a phone."""


def png(svg: str) -> bytes:
    """The picture as a PNG.

    Raises:
        ConfigError: the extra `png` is not installed.
    """
    try:
        import resvg_py
    except ImportError:
        raise ConfigError(
            "PNG pictures: got no resvg_py, expected the extra `png` to be installed",
            hint="pip install 'propstick[png]', or let --chart end in .svg",
        ) from None
    return bytes(resvg_py.svg_to_bytes(svg_string=svg, zoom=ZOOM))
