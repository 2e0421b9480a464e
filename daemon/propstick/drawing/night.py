"""The picture of a night: one panel a box, each a cold frame seen from the side.

The glass slopes over the curves, the walls stand beside them, the lid's strip lies in the soil below.
Drawn for 360 px of width and up.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from propstick.drawing import paper
from propstick.drawing.below import alarm_list, lid_strip, sent_list
from propstick.drawing.scales import DegreeScale, TimeScale, degree_scale, spread
from propstick.drawing.scene import BoxNight, Line, NightScene
from propstick.drawing.sheet import EDGE, LEFT, MOST_ALARMS, RIGHT, WIDTH
from propstick.records import Alarm

_HEAD = 54
_PANEL_TITLE = 40
_PLOT = 200
_STRIP = 36


def night_picture(scene: NightScene, *, box: str | None = None) -> str:
    """The picture as one SVG document.

    Args:
        box: Only this one's panel, on a scale that holds every box of the scene: for two beside each other.
    """
    times = TimeScale(scene.start_s, scene.end_s, LEFT, RIGHT, scene.zone, scene.twelve_hour)
    parts: list[str] = [_heading(scene)]
    y = float(_HEAD)
    shared = [v for one in scene.boxes for v in _values(one, scene)] if box is not None else None
    for one in scene.boxes:
        if box in (None, one.name):
            drawn, y = _panel(one, scene, times, y, shared)
            parts.append(drawn)
    drawn, y = sent_list(scene, times, y)
    parts.append(drawn)
    height = round(y + 10)
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" '
        f'height="{height}" class="ps" role="img">'
    )
    described = (
        f"<title>{paper.clean(scene.title)}</title><desc>{paper.clean(_in_words(scene, times))}</desc>"
    )
    ground = paper.rect(0, 0, WIDTH, height, css="ps-paper")
    return f"{opening}{described}{paper.style()}{ground}{''.join(parts)}</svg>\n"


def _in_words(scene: NightScene, times: TimeScale) -> str:
    """The picture for those who cannot see it."""
    return " ".join(f"{box.name}: {_worst_words(box, scene, times)}." for box in scene.boxes)


def _worst_words(box: BoxNight, scene: NightScene, times: TimeScale) -> str:
    if box.worst_c is None or box.worst_s is None:
        return "no reading"
    return f"{box.worst_is} {scene.degrees(box.worst_c)} at {times.clock(box.worst_s)}"


def _heading(scene: NightScene) -> str:
    clock = f"times on the clock of {scene.zone}" if scene.zone else "times in UTC"
    return paper.text(EDGE, 24, scene.title, size=17, bold=True) + paper.text(
        EDGE, 43, f"{scene.site} · °{scene.unit} · {clock}", kind="quiet", size=12.5
    )


def _panel(
    box: BoxNight, scene: NightScene, times: TimeScale, top: float, shared: list[float] | None
) -> tuple[str, float]:
    plot_top = top + _PANEL_TITLE
    bottom = plot_top + _PLOT
    held = _values(box, scene) if shared is None else shared
    scale = degree_scale(held, top=plot_top + 20, bottom=bottom - 20, unit=scene.unit)
    shown_alarms = sorted(box.alarms, key=lambda alarm: alarm.raised_s)
    parts = [
        paper.text(EDGE, top + 22, box.name, size=min(16, 350 / len(box.name)), bold=True),
        paper.text(WIDTH - EDGE, top + 22, _worst_words(box, scene, times), size=14, anchor="end", bold=True),
        _darkness(scene, times, plot_top, bottom),
        _grid(scale, times, plot_top, bottom),
        _sun_words(scene, times, plot_top + 14),
        _limits(box, scale, scene),
        _said(box, scale, times),
        _curve(scene.outside, scale, times, "outside") if box.name != "outside" else "",
        _curve(box.soil, scale, times, "soil"),
        _curve(box.otherwise, scale, times, "said"),
        _curve(box.air, scale, times, "air"),
        _names(box, scene, scale, plot_top, bottom),
        _worst_mark(box, scene, scale, times),
        _frame(plot_top, bottom),
        _alarm_marks(shown_alarms, times, bottom),
        _hours(box.name, times, plot_top, bottom),
    ]
    y = bottom + 24
    if box.name != "outside":
        parts.append(lid_strip(box, times, y))
        y += _STRIP
    listed, y = alarm_list(shown_alarms, scene, times, y)
    return "".join(parts) + listed, y + 16


def _values(box: BoxNight, scene: NightScene) -> list[float]:
    lines = [box.air, box.soil, box.otherwise] + ([scene.outside] if box.name != "outside" else [])
    values = [
        v for one in lines if len(one) for v in (float(np.min(one.value_c)), float(np.max(one.value_c)))
    ]
    values += [v for f in box.forecasts for v in (f.low_c, f.high_c)]
    # A limit is worth showing where the night came near it.
    for limit_c in (box.frost_c, box.heat_c):
        if limit_c is not None and values and min(values) - 4 <= limit_c <= max(values) + 4:
            values.append(limit_c)
    return values


def _darkness(scene: NightScene, times: TimeScale, top: float, bottom: float) -> str:
    """The ground between sunset and sunrise."""
    if scene.sunset_s is None or scene.sunrise_s is None:
        return ""
    left, right = times.held(scene.sunset_s), times.held(scene.sunrise_s)
    return paper.rect(left, top, right - left, bottom - top, css="ps-night")


def _sun_words(scene: NightScene, times: TimeScale, y: float) -> str:
    parts = []
    for word, at, shift, anchor in (
        ("sunset", scene.sunset_s, 4, "start"),
        ("sunrise", scene.sunrise_s, -4, "end"),
    ):
        if at is not None and times.inside(at):
            x = float(times.x(at)) + shift
            parts.append(
                paper.text(x, y, f"{word} {times.clock(at)}", kind="quiet", size=11.5, anchor=anchor)
            )
    return "".join(parts)


def _grid(scale: DegreeScale, times: TimeScale, top: float, bottom: float) -> str:
    parts = []
    for value_c, words in scale.ticks():
        y = float(scale.y(value_c))
        parts.append(paper.line(times.left, y, times.right, y, kind="rule"))
        parts.append(paper.text(times.left - 7, y + 4.5, words, kind="quiet", size=12.5, anchor="end"))
    parts += [
        paper.line(float(times.x(at)), top, float(times.x(at)), bottom, kind="rule", width=0.6)
        for at, _ in times.ticks()
    ]
    return "".join(parts)


def _limits(box: BoxNight, scale: DegreeScale, scene: NightScene) -> str:
    parts = []
    for limit_c, kind in ((box.frost_c, "frost"), (box.heat_c, "heat")):
        if limit_c is None or not scale.low_c < limit_c < scale.high_c:
            continue
        y = float(scale.y(limit_c))
        parts.append(paper.line(LEFT, y, RIGHT, y, kind=kind, width=1.4, dash="10 4 2 4"))
        words = f"{kind} limit {scene.degrees(limit_c)}"
        parts.append(paper.text(LEFT + 5, y - 4, words, kind=kind, size=11.5, halo=True))
    return "".join(parts)


def _curve(one: Line, scale: DegreeScale, times: TimeScale, kind: str) -> str:
    """The line, broken at gaps; a reading alone between gaps is a dot."""
    if not len(one):
        return ""
    x, y = np.asarray(times.x(one.row_s)), np.asarray(scale.y(one.value_c))
    breaks = np.flatnonzero(np.diff(one.row_s) > one.gap_s) + 1
    commands, dots = [], []
    for first, last in pairwise([0, *breaks.tolist(), len(one)]):
        if last - first == 1:
            dots.append(paper.circle(float(x[first]), float(y[first]), 1.2, css=f"ps-l-{kind}"))
            continue
        points = [f"{paper.num(a)} {paper.num(b)}" for a, b in zip(x[first:last], y[first:last], strict=True)]
        commands.append("M" + "L".join(points))
    drawn = paper.path("".join(commands), css=f"ps-{kind} ps-l-{kind}") if commands else ""
    return drawn + "".join(dots)


def _said(box: BoxNight, scale: DegreeScale, times: TimeScale) -> str:
    """Each forecast of the minimum where it was issued: a bar for the interval, a dash for the expected."""
    parts = []
    for forecast in box.forecasts:
        if not times.inside(forecast.issued_s):
            continue
        x = float(times.x(forecast.issued_s))
        low, high, middle = (float(scale.y(v)) for v in (forecast.low_c, forecast.high_c, forecast.min_c))
        parts.append(paper.rect(x - 2.5, high, 5, low - high, css="ps-t-said", opacity=0.3))
        parts.append(paper.line(x - 5, middle, x + 5, middle, kind="said", width=2))
    return "".join(parts)


def _names(box: BoxNight, scene: NightScene, scale: DegreeScale, top: float, bottom: float) -> str:
    """The curves' names at their right ends, moved apart where they would touch."""
    curves = [("outside" if box.name == "outside" else "inside", box.air, "air"), ("soil", box.soil, "soil")]
    if box.name != "outside":
        curves.append(("outside", scene.outside, "outside"))
    curves.append((f"if {box.otherwise_words}", box.otherwise, "said"))
    named = [(words, float(scale.y(one.value_c[-1])), kind) for words, one, kind in curves if len(one)]
    placed = spread([y + 4.5 for _, y, _ in named], apart=15, low=top + 12, high=bottom - 2)
    return "".join(
        paper.text(RIGHT + 9, y, words, kind=kind, size=13, bold=kind == "air")
        for (words, _, kind), y in zip(named, placed, strict=True)
    )


def _worst_mark(box: BoxNight, scene: NightScene, scale: DegreeScale, times: TimeScale) -> str:
    if box.worst_c is None or box.worst_s is None or not times.inside(box.worst_s):
        return ""
    x, y = float(times.x(box.worst_s)), float(scale.y(box.worst_c))
    low = box.worst_is == "lowest"
    # Below the lowest point there is room, unless the panel ends there.
    at_y = y + 18 if low and y + 20 < scale.bottom else y - 9
    anchor = "end" if x > (LEFT + 2 * RIGHT) / 3 else "start" if x < (2 * LEFT + RIGHT) / 3 else "middle"
    return paper.circle(x, y, 4, css="ps-l-air", width=2) + paper.text(
        x, at_y, scene.degrees(box.worst_c), kind="air", size=13, anchor=anchor, bold=True, halo=True
    )


def _frame(top: float, bottom: float) -> str:
    """Walls and sloping glass around the curves: the back wall (right) stands higher than the front."""
    left, right = LEFT - 2, RIGHT + 2
    glass = f"M{left - 3} {paper.num(top - 1)}L{right + 3} {paper.num(top - 11)}"
    inner = f"M{left} {paper.num(top + 2)}L{right} {paper.num(top - 8)}"
    return (
        paper.line(left, top, left, bottom, kind="wood", width=3)
        + paper.line(right, top - 9, right, bottom, kind="wood", width=3)
        + paper.path(glass, css="ps-l-glass", width=2)
        + paper.path(inner, css="ps-l-glass", width=0.8)
        + paper.line(left - 8, bottom + 1, right + 8, bottom + 1, kind="wood", width=2)
    )


def _hours(name: str, times: TimeScale, top: float, bottom: float) -> str:
    """The hours below, and where the panel lies: the page puts a handle there."""
    words = "".join(
        paper.text(float(times.x(at)), bottom + 19, words, kind="quiet", size=12.5, anchor="middle")
        for at, words in times.ticks()
    )
    place = f'data-left="{paper.num(times.left)}" data-right="{paper.num(times.right)}"'
    place += f' data-top="{paper.num(top)}" data-bottom="{paper.num(bottom)}"'
    return f'<g class="ps-hours" data-box="{paper.clean(name)}" {place}>{words}</g>'


def _alarm_marks(alarms: list[Alarm], times: TimeScale, bottom: float) -> str:
    """A numbered triangle where each alarm was raised; as many as the list below explains."""
    parts = []
    for number, alarm in enumerate(alarms[:MOST_ALARMS], 1):
        if not times.inside(alarm.raised_s):
            continue
        x, y = float(times.x(alarm.raised_s)), bottom - 3
        parts.append(paper.path(f"M{paper.num(x)} {paper.num(y - 7)}l5 8h-10z", css="ps-t-alarm"))
        parts.append(
            paper.text(x, y - 10, str(number), kind="alarm", size=12, anchor="middle", bold=True, halo=True)
        )
    return "".join(parts)
