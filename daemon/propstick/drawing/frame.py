"""A cold frame from the side: its lid as it stands and, thin and dashed, as it should stand next."""

from __future__ import annotations

from math import atan2, cos, hypot, pi, radians, sin

from propstick.drawing import paper

WIDTH, HEIGHT = 240, 150
FULL_DEG = 60.0
"""How far a lid that is wholly open stands from where it lies shut."""
LEAST_PROPPED_DEG = 5.0
"""A lid that is open at all is drawn so that one sees it."""

_GROUND = 132
_HINGE = (58.0, 92.0)
_SILL = (184.0, 110.0)
"""Tops of the high wall, where the lid is hinged, and of the low one, where it comes to lie."""
_SHUT_RAD = atan2(_SILL[1] - _HINGE[1], _SILL[0] - _HINGE[0])
_LENGTH = hypot(_SILL[0] - _HINGE[0], _SILL[1] - _HINGE[1]) + 8.0


def lid_degrees(opening: float) -> float:
    """How far a lid of that opening (0 shut, 1 open) is drawn from where it lies shut."""
    if opening <= 0:
        return 0.0
    return max(LEAST_PROPPED_DEG, min(opening, 1.0) * FULL_DEG)


def frame_picture(
    *,
    words: str,
    opening: float | None,
    next_opening: float | None = None,
    next_word: str = "",
    unknown_word: str = "",
    is_night: bool = False,
    is_covered: bool = False,
) -> str:
    """The picture as SVG text.

    Args:
        words: All it shows, for who cannot see it.
        opening: 0 shut to 1 open; None: not known, and no lid is drawn.
        next_opening: Where the lid should go; None, or where it is: no second line.
        next_word: Written at the end of the second line.
        unknown_word: Written where the lid would be.
        is_night: Whether the sun is down there.
        is_covered: Whether a blanket lies on it.
    """
    top = _top(opening, next_opening)
    parts = [
        '<svg xmlns="http://www.w3.org/2000/svg" class="ps" '
        f'viewBox="0 {paper.num(top)} {WIDTH} {paper.num(HEIGHT - top)}" role="img" '
        f'aria-label="{paper.clean(words)}">{paper.style()}'
    ]
    if is_night:
        parts.append(paper.rect(0, top, WIDTH, _GROUND - top, css="ps-night"))
        parts.append(
            paper.path(f"M214 {paper.num(top + 8)}a13 13 0 1 0 10 21a11 11 0 0 1 -10 -21z", css="ps-t-quiet")
        )
    parts += _box()
    if opening is None:
        parts.append(paper.text(121, 84, unknown_word, kind="quiet", size=13, anchor="middle"))
    else:
        parts += _lid(opening, is_covered=is_covered)
    if next_opening is not None and (opening is None or _differs(opening, next_opening)):
        parts += _next_lid(next_opening, next_word)
    parts.append("</svg>")
    return "".join(parts)


def _top(*openings: float | None) -> float:
    """Where the paper begins: no more sky than the higher lid needs."""
    return min(_HINGE[1] - 42, *(_end(one)[1] - 24 for one in openings if one is not None), 60.0)


def _differs(one: float, other: float) -> bool:
    return abs(lid_degrees(one) - lid_degrees(other)) >= 1.0


def _box() -> list[str]:
    (hx, hy), (sx, sy) = _HINGE, _SILL
    seedlings = "".join(
        f"M{x} {_GROUND - 4}v-6m0 0q-5 -1 -6 -5q6 0 6 5q0 -5 6 -5q-1 4 -6 5" for x in (88, 121, 154)
    )
    return [
        paper.rect(0, _GROUND, WIDTH, HEIGHT - _GROUND, css="ps-t-soil", opacity=0.35),
        paper.line(0, _GROUND, WIDTH, _GROUND, kind="soil", width=1.5),
        paper.rect(hx, _GROUND - 4, sx - hx, 4, css="ps-t-soil"),
        paper.path(seedlings, css="ps-l-air", width=1.6),
        paper.rect(hx - 7, hy, 7, _GROUND - hy + 6, css="ps-t-wood"),
        paper.rect(sx, sy, 7, _GROUND - sy + 6, css="ps-t-wood"),
    ]


def _end(opening: float, *, along: float = _LENGTH) -> tuple[float, float]:
    """A point on the lid, so far from its hinge."""
    angle = _SHUT_RAD - radians(lid_degrees(opening))
    return _HINGE[0] + along * cos(angle), _HINGE[1] + along * sin(angle)


def _lid(opening: float, *, is_covered: bool) -> list[str]:
    (hx, hy), (ex, ey) = _HINGE, _end(opening)
    parts = []
    if opening > 0:
        px, py = _end(opening, along=_LENGTH * 0.8)
        parts.append(paper.line(px, py, _SILL[0] + 3, _SILL[1], kind="wood", width=2.5))
    parts.append(paper.line(hx, hy, ex, ey, kind="ink", width=5))
    if is_covered:
        away = _SHUT_RAD - radians(lid_degrees(opening)) - pi / 2  # a blanket's thickness off the pane
        dx, dy = 7 * cos(away), 7 * sin(away)
        parts.append(
            f'<line x1="{paper.num(hx + dx)}" y1="{paper.num(hy + dy)}" x2="{paper.num(ex + dx)}" '
            f'y2="{paper.num(ey + dy)}" class="ps-l-cover" stroke-width="9" stroke-linecap="round"/>'
        )
    parts.append(paper.circle(hx, hy, 3.5, css="ps-t-ink"))
    return parts


def _next_lid(opening: float, word: str) -> list[str]:
    ex, ey = _end(opening)
    beside = ex + 5 if ex < WIDTH - 45 else ex
    return [
        paper.line(*_HINGE, ex, ey, kind="said", width=2, dash="6 4"),
        paper.text(beside, ey - 6 if opening > 0 else ey + 14, word, kind="said", size=13, halo=True,
                   anchor="start" if ex < WIDTH - 45 else "middle"),
    ]  # fmt: skip
