"""A season as one picture: the warmth gathered inside against outside, each sowing a point on its curve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from propstick.drawing import paper

WIDTH, HEIGHT = 440, 300
_LEFT, _RIGHT, _TOP, _BOTTOM = 46, 350, 18, 262
_DASHES = ("", "7 4", "2 3", "10 3 2 3")
_STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)


@dataclass(frozen=True, kw_only=True)
class Warmth:
    """One curve: degree days by the end of each day, as the reader counts them; None: not known."""

    name: str
    by_day: Sequence[float | None]
    is_outside: bool = False


@dataclass(frozen=True, kw_only=True)
class SowingPoint:
    """A ring on a curve."""

    name: str
    curve: str
    day: int
    warmth: float


def season_picture(
    days: Sequence[date], curves: Sequence[Warmth], sowings: Sequence[SowingPoint], *, words: str
) -> str:
    """The picture as SVG text.

    Args:
        days: Of the season, as many as each curve has values.
        words: What it shows, for who cannot see it.
    """
    most = max((v for curve in curves for v in curve.by_day if v is not None), default=0.0) or 1.0

    def x(day: int) -> float:
        return _LEFT + (_RIGHT - _LEFT) * day / max(len(days) - 1, 1)

    def y(warmth: float) -> float:
        return _BOTTOM - (_BOTTOM - _TOP) * warmth / most

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="ps" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'aria-label="{paper.clean(words)}">{paper.style()}'
    ]
    step = next((s for s in _STEPS if most / s <= 5), _STEPS[-1])
    for k in range(int(most // step) + 1):
        parts.append(paper.line(_LEFT, y(k * step), _RIGHT, y(k * step), kind="rule"))
        parts.append(
            paper.text(_LEFT - 6, y(k * step) + 4, f"{k * step}", kind="quiet", size=12, anchor="end")
        )
    for k in sorted({0, len(days) // 2, len(days) - 1}) if days else ():
        anchor = "start" if k == 0 else "middle" if k < len(days) - 1 else "end"
        parts.append(
            paper.text(x(k), _BOTTOM + 20, f"{days[k]:%-d %b}", kind="quiet", size=12, anchor=anchor)
        )
    ends = []
    for k, curve in enumerate(curves):
        points = [(x(day), y(v)) for day, v in enumerate(curve.by_day) if v is not None]
        if not points:
            continue
        drawn = "M" + "L".join(f"{paper.num(px)} {paper.num(py)}" for px, py in points)
        kind = "outside" if curve.is_outside else "air"
        dash = f' stroke-dasharray="{_DASHES[k % len(_DASHES)]}"' if _DASHES[k % len(_DASHES)] else ""
        parts.append(f'<path d="{drawn}" class="ps-l-{kind}" stroke-width="2.4"{dash}/>')
        ends.append((points[-1][1], curve.name, kind))
    parts += _names(ends)
    for one in sowings:
        parts.append(paper.circle(x(one.day), y(one.warmth), 5, css="ps-l-soil", width=2.5))
        parts.append(paper.text(x(one.day), y(one.warmth) - 9, one.name, kind="soil", size=12, halo=True))
    parts.append("</svg>")
    return "".join(parts)


def _names(ends: list[tuple[float, str, str]]) -> list[str]:
    """Names at the curves' ends, kept apart."""
    parts, free = [], _TOP
    for at, name, kind in sorted(ends):
        at = max(at + 4, free)
        parts.append(paper.text(_RIGHT + 6, at, name, kind=kind, size=12))
        free = at + 15
    return parts
