"""The season's page as PDF, one sheet of A4, by ReportLab (the extra `pdf`)."""

from __future__ import annotations

import html
import io
from collections.abc import Sequence
from typing import Any

from propstick.app.season.contents import Grid, Heading, Part, Points, Words
from propstick.errors import InputError

MARGIN = 40.0
"""Points, on every side."""
FONT = "Times"


def paper(parts: Sequence[Part]) -> bytes:
    """The parts on one sheet; a long season is set smaller, never cut.

    Letters that the printer's own typefaces do not have (Latin of the west only) come as `?`.

    Raises:
        InputError: ReportLab is not installed.
    """
    try:
        from reportlab.lib.pagesizes import A4
        from reportlab.pdfgen.canvas import Canvas
        from reportlab.platypus import KeepInFrame
    except ImportError:
        raise InputError(
            "--report: for a .pdf the package reportlab is wanted, and it is not installed",
            hint="write .html and print it from a browser, or install propstick[pdf]",
        ) from None
    width, height = A4[0] - 2 * MARGIN, A4[1] - 2 * MARGIN
    written = io.BytesIO()
    canvas = Canvas(written, pagesize=A4, invariant=True)
    canvas.setTitle(parts[0].text if isinstance(parts[0], Heading) else "The season")
    whole = KeepInFrame(width, height, [flow for part in parts for flow in _flows(part, width)])
    _, used = whole.wrapOn(canvas, width, height)
    whole.drawOn(canvas, MARGIN, A4[1] - MARGIN - used)
    canvas.save()
    return written.getvalue()


def _flows(part: Part, width: float) -> Sequence[Any]:
    from reportlab.platypus import Paragraph, Table, TableStyle

    match part:
        case Heading(text, level):
            return [Paragraph(_safe(text), _style(16.0 if level == 1 else 11.5, bold=True, above=7.0))]
        case Words(about, text, quiet):
            head = f"<b>{_safe(about)}</b>: " if about else ""
            return [Paragraph(head + _safe(text), _style(8.0 if quiet else 9.5, above=2.5))]
        case Points(texts):
            return [Paragraph(_safe(one), _style(9.5, above=2.5), bulletText="\u2022") for one in texts]
        case Grid(heads, rows):
            cell, head = _style(9.0), _style(9.0, bold=True)
            cells = [[Paragraph(_safe(one), head) for one in heads]]
            cells += [[Paragraph(_safe(one), cell) for one in row] for row in rows]
            lines = TableStyle(
                [
                    ("LINEBELOW", (0, 0), (-1, -1), 0.4, (0.6, 0.6, 0.6)),
                    ("VALIGN", (0, 0), (-1, -1), "TOP"),
                    ("LEFTPADDING", (0, 0), (-1, -1), 0),
                    ("TOPPADDING", (0, 0), (-1, -1), 2),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
                ]
            )
            return [Table(cells, colWidths=_widths(heads, rows, width), style=lines, spaceBefore=4)]


def _widths(heads: Sequence[str], rows: Sequence[Sequence[str]], width: float) -> list[float]:
    """Columns by their longest cell, so that short dates leave room for long ones."""
    longest = [max(len(row[k]) for row in (heads, *rows)) for k in range(len(heads))]
    asked = [min(max(letters, 6), 26) for letters in longest]
    return [width * one / sum(asked) for one in asked]


def _style(size: float, *, bold: bool = False, above: float = 0.0) -> Any:
    from reportlab.lib.styles import ParagraphStyle

    return ParagraphStyle(
        f"{size}{bold}{above}",
        fontName=f"{FONT}-Bold" if bold else f"{FONT}-Roman",
        fontSize=size,
        leading=1.22 * size,
        spaceBefore=above,
        leftIndent=0.0,
        bulletIndent=0.0,
    )


def _safe(text: str) -> str:
    return html.escape(text.encode("cp1252", "replace").decode("cp1252"), quote=False)
