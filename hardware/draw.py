#!/usr/bin/env python3
"""Draws the pictures of hardware/README.md: `python hardware/draw.py` writes drawings/*.svg anew.

The wiring is a table of nets first and a picture second: the tests hold the table against the header's
pins, and the pictures against this file.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from xml.sax.saxutils import escape

FOLDER = Path(__file__).parent / "drawings"

PINS = {"3.3 V": 1, "data": 7, "ground": 9}
"""Pins of the Pi's header. Source: the board table of the gpiozero library; GPIO 4 is the default of the
firmware's w1-gpio overlay."""
COLOURS = {"3.3 V": "#b3261e", "data": "#b07d00", "ground": "#222222"}
NETS: dict[str, tuple[str, ...]] = {
    "3.3 V": ("pi.1", "pull-up.a", "probe.red"),
    "pin": ("pi.7", "series.a"),
    "data": ("series.b", "pull-up.b", "clamp.a", "probe.yellow"),
    "ground": ("pi.9", "clamp.b", "probe.black"),
}
"""Net: what hangs on it. `series` is the 100 Ω resistor between the pin and the line."""
VALUES = {"pull-up": "4.7 kΩ", "series": "100 Ω"}

Point = tuple[float, float]


class Sheet:
    """A picture as SVG text: lines, boxes, words. Colours repeat what words say."""

    def __init__(self, width: int, height: int, title: str, words: str) -> None:
        self.width, self.height = width, height
        self._parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img"'
            ' font-family="DejaVu Sans, sans-serif" font-size="14" fill="none" stroke="#222222"'
            ' stroke-width="2" stroke-linecap="round" stroke-linejoin="round">',
            f"<title>{escape(title)}</title>",
            f"<desc>{escape(words)}</desc>",
            f'<rect width="{width}" height="{height}" fill="#ffffff" stroke="none"/>',
        ]

    def line(self, *points: Point, colour: str = "#222222", dashed: bool = False, width: float = 2) -> None:
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        dash = ' stroke-dasharray="6 5"' if dashed else ""
        self._parts.append(f'<polyline points="{path}" stroke="{colour}" stroke-width="{width:g}"{dash}/>')

    def area(self, *points: Point, fill: str) -> None:
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        self._parts.append(f'<polygon points="{path}" fill="{fill}"/>')

    def box(self, x: float, y: float, width: float, height: float, *, fill: str = "#ffffff") -> None:
        self._parts.append(
            f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="4" fill="{fill}"/>'
        )

    def dot(self, x: float, y: float, *, radius: float = 4, fill: str = "#222222") -> None:
        self._parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="{radius:g}" fill="{fill}"/>')

    def text(self, x: float, y: float, words: str, *, anchor: str = "start", bold: bool = False) -> None:
        weight = ' font-weight="bold"' if bold else ""
        self._parts.append(
            f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" fill="#222222" stroke="none"{weight}>'
            f"{escape(words)}</text>"
        )

    def lines(self, x: float, y: float, *words: str, anchor: str = "start") -> None:
        for k, one in enumerate(words):
            self.text(x, y + 18 * k, one, anchor=anchor)

    def pointer(self, from_: Point, to: Point) -> None:
        """A thin line from words to a thing, with a dot at the thing."""
        self.line(from_, to, width=1)
        self.dot(*to, radius=2.5)

    def svg(self) -> str:
        return "\n".join([*self._parts, "</svg>"]) + "\n"


def wiring() -> str:
    """The header, the three parts beside it, and the line with its probes."""
    sheet = Sheet(
        860, 400, "Wiring",
        "Pin 1, 3.3 V, to every probe and through 4.7 kilohm to data. Pin 7, data, through 100 ohm to every "
        "probe. Pin 9, ground, to every probe. A clamp between data and ground.",
    )  # fmt: skip
    levels = {"3.3 V": 90.0, "data": 200.0, "ground": 310.0}
    sheet.box(20, 50, 130, 300, fill="#eef3ee")
    sheet.text(20, 40, "Raspberry Pi, indoors", bold=True)
    for net, level in levels.items():
        sheet.text(140, level - 8, f"pin {PINS[net]}", anchor="end")
        sheet.text(140, level + 18, net, anchor="end")
        sheet.line((150, level), (830, level), colour=COLOURS[net], width=3)
        sheet.dot(150, level)
    _resistor(sheet, (190, 200), (260, 200), VALUES["series"])
    _resistor(sheet, (320, 90), (320, 200), VALUES["pull-up"])
    _clamp(sheet, 320, 200, 310)
    for x, name in ((520, "probe 1"), (640, "probe 2"), (760, "probe 3")):
        _probe(sheet, x, levels, name)
    sheet.text(430, 372, "beside the Pi", anchor="end")
    sheet.line((172, 358), (440, 358), width=1)
    sheet.text(830, 372, "the line to the boxes: branches of 3 m or less", anchor="end")
    sheet.line((470, 358), (830, 358), width=1)
    return sheet.svg()


def _resistor(sheet: Sheet, start: Point, end: Point, value: str) -> None:
    is_level = start[1] == end[1]
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    if is_level:
        sheet.box(middle[0] - 26, middle[1] - 9, 52, 18)
        sheet.text(middle[0], middle[1] - 16, value, anchor="middle")
    else:
        sheet.line(start, end)
        sheet.box(middle[0] - 9, middle[1] - 26, 18, 52)
        sheet.text(middle[0] + 18, middle[1] + 5, value)
        sheet.dot(*start)
        sheet.dot(*end)


def _clamp(sheet: Sheet, x: float, top: float, bottom: float) -> None:
    """A suppressor: conducts above its voltage, one way shown."""
    middle = (top + bottom) / 2
    sheet.line((x, top), (x, bottom))
    sheet.area((x - 12, middle + 12), (x + 12, middle + 12), (x, middle - 10), fill="#ffffff")
    sheet.line((x - 16, middle - 4), (x - 12, middle - 10), (x + 12, middle - 10), (x + 16, middle - 16))
    sheet.text(x + 24, middle + 5, "clamp, 5 V")
    sheet.dot(x, bottom)


def _probe(sheet: Sheet, x: float, levels: dict[str, float], name: str) -> None:
    for shift, net in ((-24, "3.3 V"), (0, "data"), (24, "ground")):
        sheet.dot(x + shift, levels[net])
        sheet.line((x + shift, levels[net]), (x + shift, 330), colour=COLOURS[net])
    sheet.box(x - 34, 326, 68, 22, fill="#dfe7ee")
    sheet.text(x, 342, name, anchor="middle")


def shapes() -> str:
    """A line with short branches, which works, and a star, which is the usual fault."""
    sheet = Sheet(
        860, 300, "A line, not a star",
        "Left: one cable passes all boxes, each probe on a branch of 3 metres or less. Right: four long arms "
        "from one point; each sends an echo.",
    )  # fmt: skip
    sheet.text(210, 30, "A line: one cable passes all boxes", anchor="middle", bold=True)
    sheet.box(20, 130, 60, 40, fill="#eef3ee")
    sheet.text(50, 155, "Pi", anchor="middle")
    sheet.line((80, 150), (400, 150), width=4)
    for x in (140, 220, 300, 380):
        sheet.line((x, 150), (x, 200))
        sheet.box(x - 26, 200, 52, 30, fill="#dfe7ee")
        sheet.text(x, 220, "probe", anchor="middle")
    sheet.lines(140, 262, "each branch 3 m or less")
    sheet.line((430, 20), (430, 280), dashed=True, width=1)
    sheet.text(650, 30, "A star: long arms from one point", anchor="middle", bold=True)
    sheet.box(620, 130, 60, 40, fill="#eef3ee")
    sheet.text(650, 155, "Pi", anchor="middle")
    for x, y in ((490, 80), (810, 80), (490, 220), (810, 220)):
        sheet.line((620 if x < 650 else 680, 150), (x, y))
        sheet.box(x - 26, y - 15, 52, 30, fill="#dfe7ee")
        sheet.text(x, y + 5, "probe", anchor="middle")
    sheet.text(650, 262, "echoes from every arm: bad checksums", anchor="middle")
    return sheet.svg()


def placing() -> str:
    """A box cut open, the open ground beside it, and where the four probes sit."""
    sheet = Sheet(
        860, 400, "Where the probes sit",
        "In the box: the air probe at seedling height under a vented shield, the soil probe at sowing depth "
        "in the middle. Outside: an air probe in shade on the north side of a post, a soil probe in open "
        "ground.",
    )  # fmt: skip
    sheet.area((20, 270), (840, 270), (840, 380), (20, 380), fill="#efe6da")
    sheet.area((80, 270), (80, 140), (96, 140), (96, 270), fill="#d9c7a8")
    sheet.area((404, 270), (404, 190), (420, 190), (420, 270), fill="#d9c7a8")
    sheet.line((72, 136), (428, 186), width=5)
    sheet.text(250, 120, "lid of glass; its low side faces the sun", anchor="middle")
    for x in (130, 180, 330, 370):
        sheet.line((x, 270), (x, 250))
        sheet.line((x - 9, 246), (x, 254), (x + 9, 246))
    for k in range(3):
        sheet.line((226, 214 + 10 * k), (234, 208 + 10 * k), (274, 208 + 10 * k), (282, 214 + 10 * k))
    sheet.box(250, 226, 8, 24, fill="#9fb3c6")
    sheet.box(230, 296, 48, 8, fill="#9fb3c6")
    sheet.pointer((150, 328), (236, 300))
    sheet.lines(40, 345, "soil in the box: lying at", "sowing depth, 1 to 3 cm")
    sheet.pointer((330, 320), (257, 240))
    sheet.lines(290, 335, "air in the box: seedling height,", "middle, under a vented shield")
    sheet.box(640, 130, 12, 140, fill="#d9c7a8")
    for k in range(3):
        sheet.line((590, 186 + 10 * k), (598, 180 + 10 * k), (632, 180 + 10 * k), (640, 186 + 10 * k))
    sheet.box(611, 200, 8, 24, fill="#9fb3c6")
    sheet.pointer((560, 110), (613, 208))
    sheet.lines(470, 80, "outside air: shade all day, north", "side of a post, height of the boxes")
    sheet.box(730, 296, 48, 8, fill="#9fb3c6")
    sheet.pointer((720, 340), (750, 301))
    sheet.lines(530, 355, "open soil: same depth as in the box")
    sheet.text(700, 240, "away from walls")
    return sheet.svg()


def shield() -> str:
    """Plates on pegs, open below, with the sleeve hanging free."""
    sheet = Sheet(
        680, 340, "A vented shield",
        "A whole white pot on top, two without bottoms below it, one centimetre of air between; the "
        "sleeve hangs in the middle and touches nothing; open below.",
    )  # fmt: skip
    for k, is_whole in enumerate((True, False, False)):
        y = 60 + 70 * k
        if is_whole:
            sheet.line((120, y + 60), (150, y), (290, y), (320, y + 60), width=4)
        else:
            sheet.line((120, y + 60), (150, y), (165, y), width=4)
            sheet.line((275, y), (290, y), (320, y + 60), width=4)
    for x in (140, 300):
        sheet.line((x, 90), (x, 250), dashed=True)
    sheet.line((220, 40), (220, 150))
    sheet.box(213, 150, 14, 70, fill="#9fb3c6")
    sheet.pointer((380, 75), (290, 64))
    sheet.text(386, 80, "white, whole on top")
    sheet.pointer((380, 135), (305, 165))
    sheet.text(386, 140, "bottoms cut out below")
    sheet.pointer((380, 195), (228, 190))
    sheet.text(386, 200, "sleeve hangs free in the middle")
    sheet.pointer((380, 245), (300, 240))
    sheet.text(386, 250, "two pegs, 1 cm of air between")
    for x in (190, 220, 250):
        sheet.line((x, 310), (x, 275))
        sheet.line((x - 5, 283), (x, 275), (x + 5, 283))
    sheet.text(386, 300, "open below: air comes in")
    return sheet.svg()


def lid() -> str:
    """Magnet on the lid, contact on the frame, on the side that opens first."""
    sheet = Sheet(
        760, 300, "The lid contact",
        "The magnet on the lid, the reed contact on the frame opposite the hinges, 5 to 10 millimetres apart "
        "when shut. From the contact one wire to a pin of the node, one to ground.",
    )  # fmt: skip
    sheet.area((40, 250), (40, 130), (60, 130), (60, 250), fill="#d9c7a8")
    sheet.area((380, 250), (380, 170), (400, 170), (400, 250), fill="#d9c7a8")
    sheet.dot(50, 122, radius=7, fill="#ffffff")
    sheet.line((50, 122), (410, 150), width=5)
    sheet.line((50, 122), (390, 40), dashed=True)
    sheet.text(30, 100, "hinges")
    sheet.box(364, 152, 14, 12, fill="#b3261e")
    sheet.box(362, 176, 16, 24, fill="#dfe7ee")
    sheet.pointer((470, 110), (371, 158))
    sheet.text(476, 115, "magnet on the lid")
    sheet.pointer((470, 165), (371, 186))
    sheet.lines(476, 165, "contact on the frame, 5 to 10 mm", "from the magnet when shut")
    sheet.line((370, 200), (370, 270), (560, 270))
    sheet.line((366, 200), (366, 280), (560, 280))
    sheet.box(560, 240, 90, 50, fill="#eef3ee")
    sheet.text(605, 270, "node", anchor="middle")
    sheet.text(660, 270, "pin, ground")
    sheet.lines(90, 268, "shut: contact closed to ground;", "a broken wire then reads: open")
    return sheet.svg()


DRAWINGS: dict[str, Callable[[], str]] = {
    "wiring.svg": wiring,
    "shapes.svg": shapes,
    "placing.svg": placing,
    "shield.svg": shield,
    "lid.svg": lid,
}


def main(argv: Sequence[str] | None = None) -> int:
    """Writes every drawing into the folder named, by default `drawings` beside this file."""
    words = list(sys.argv[1:] if argv is None else argv)
    folder = Path(words[0]) if words else FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    for name, draw in DRAWINGS.items():
        (folder / name).write_text(draw(), "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
