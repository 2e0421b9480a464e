"""Elements of an SVG as text, and how they look by day and by night.

Every colour repeats what a word, a dash pattern or a shape says already. Rules are plain class rules
with figures in them: the PNG renderer knows neither variables nor media queries, and takes the light ones.
"""

from __future__ import annotations

import re
from html import escape

FONT = "'DejaVu Sans', sans-serif"
_NOT_IN_XML = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

_LIGHT = {
    "paper": "#fbfaf4", "night": "#e6e8f0", "ink": "#1f2420", "quiet": "#59625b", "rule": "#cfd3c9",
    "air": "#17633a", "outside": "#4a6580", "soil": "#85531f", "frost": "#20619c", "heat": "#a8401c",
    "said": "#6a4a9a", "alarm": "#9c2418", "glass": "#7f9a94", "wood": "#9a7a52", "cover": "#7c6f9e",
}  # fmt: skip
_DARK = {
    "paper": "#15191a", "night": "#20262f", "ink": "#e9ece5", "quiet": "#a9b2aa", "rule": "#3a423d",
    "air": "#84d69b", "outside": "#a6c0d8", "soil": "#dba66c", "frost": "#86bdf0", "heat": "#f0946f",
    "said": "#c2a8ee", "alarm": "#ff9a8c", "glass": "#93b5ae", "wood": "#b39468", "cover": "#b3a6d6",
}  # fmt: skip

_LINES = {"air": "stroke-width:2.6", "outside": "stroke-width:1.6;stroke-dasharray:6 3",
          "soil": "stroke-width:2.2;stroke-dasharray:1.5 3.5;stroke-linecap:round",
          "said": "stroke-width:2;stroke-dasharray:9 3 2 3"}  # fmt: skip


def _rules(colours: dict[str, str]) -> str:
    rules = [f".ps-paper{{fill:{colours['paper']}}}", f".ps-night{{fill:{colours['night']}}}"]
    rules += [f".ps-t-{name}{{fill:{colours[name]}}}" for name in colours if name != "night"]
    rules += [f".ps-l-{name}{{fill:none;stroke:{colours[name]}}}" for name in colours]
    rules.append(f".ps-halo{{stroke:{colours['paper']}}}")
    return "".join(rules)


def style() -> str:
    """The style element: light, and dark for those who prefer it."""
    shapes = "".join(f".ps-{name}{{{rule}}}" for name, rule in _LINES.items())
    return (
        f"<style>.ps{{max-width:100%;height:auto}}.ps text{{font-family:{FONT}}}{shapes}{_rules(_LIGHT)}"
        f"@media (prefers-color-scheme: dark){{{_rules(_DARK)}}}</style>"
    )


def clean(text: str) -> str:
    """Somebody's text as it may stand in XML."""
    return escape(_NOT_IN_XML.sub("", text), quote=True)


def num(value: float) -> str:
    """A coordinate: one decimal at most."""
    return f"{value:.1f}".removesuffix(".0")


def text(
    x: float, y: float, words: str, *, kind: str = "ink", size: float = 13, anchor: str = "start",
    bold: bool = False, halo: bool = False,
) -> str:  # fmt: skip
    """A line of text. `halo` puts paper behind it, so that it reads across a curve."""
    weight = ' font-weight="bold"' if bold else ""
    at = f'x="{num(x)}" y="{num(y)}" font-size="{num(size)}" text-anchor="{anchor}"{weight}'
    body = f">{clean(words)}</text>"
    behind = (
        f'<text {at} class="ps-halo ps-l-paper" stroke-width="4" stroke-linejoin="round"{body}'
        if halo
        else ""
    )
    return f'{behind}<text {at} class="ps-t-{kind}"{body}'


def line(x1: float, y1: float, x2: float, y2: float, *, kind: str, width: float = 1, dash: str = "") -> str:
    """A straight line."""
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{num(x1)}" y1="{num(y1)}" x2="{num(x2)}" y2="{num(y2)}" class="ps-l-{kind}" '
        f'stroke-width="{num(width)}"{dashed}/>'
    )


def rect(x: float, y: float, width: float, height: float, *, css: str, opacity: float = 1) -> str:
    """A filled rectangle."""
    seen = f' opacity="{opacity:g}"' if opacity < 1 else ""
    size = f'width="{num(max(width, 0))}" height="{num(max(height, 0))}"'
    return f'<rect x="{num(x)}" y="{num(y)}" {size} class="{css}"{seen}/>'


def path(points: str, *, css: str, width: float | None = None) -> str:
    """A path of the given commands."""
    stroke = f' stroke-width="{num(width)}"' if width is not None else ""
    return f'<path d="{points}" class="{css}"{stroke}/>'


def circle(x: float, y: float, radius: float, *, css: str, width: float = 1.5) -> str:
    """A circle."""
    return (
        f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(radius)}" class="{css}" stroke-width="{num(width)}"/>'
    )
