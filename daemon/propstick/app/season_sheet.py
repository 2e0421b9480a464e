"""The season as one page to keep: HTML that needs nothing else, prints on paper, and reads without colour."""

from __future__ import annotations

import html
import json
from collections.abc import Sequence
from pathlib import Path

from propstick.app import season_words as words
from propstick.app.season import SeasonReport
from propstick.errors import InputError

_STYLE = """
body{font:16px/1.45 Georgia,serif;max-width:46rem;margin:2rem auto;padding:0 1rem;color:#222;background:#fff}
table{border-collapse:collapse;width:100%;font-size:.92rem;margin:1rem 0}
th,td{text-align:left;padding:.25rem .5rem .25rem 0;border-bottom:1px solid #999;vertical-align:top}
h2{margin-top:1.6rem}p.quiet{font-size:.88rem}
@media print{body{margin:0;max-width:none}h2{break-after:avoid}tr{break-inside:avoid}}
"""
KINDS = (".html", ".json")


def write_sheet(report: SeasonReport, file: str) -> None:
    """Writes the page (`.html`) or the data (`.json`).

    Raises:
        InputError: another ending, or a place that cannot be written.
    """
    path = Path(file)
    if path.suffix not in KINDS:
        raise InputError(
            f"--report: got {file!r}, expected a name that ends in {' or '.join(KINDS)}",
            hint="for paper or PDF, print the .html from a browser",
        )
    text = (
        sheet(report)
        if path.suffix == ".html"
        else json.dumps(report.to_json(), ensure_ascii=False, indent=2) + "\n"
    )
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(f"--report: {file} cannot be written: {error.strerror or error}") from None


def sheet(report: SeasonReport) -> str:
    """The page's text."""
    head = f"{report.site}: the season, {report.since:%-d %B} to {report.day:%-d %B %Y}"
    parts = [
        "<!doctype html>\n",
        f'<html lang="en"><meta charset="utf-8"><title>{_safe(head)}</title><style>{_STYLE}</style>',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<h1>{_safe(head)}</h1>",
        "<h2>What was sown, and what came of it</h2>",
        _table(
            ("Batch", "Place", "Sown", "Up", "First pick", "Flowering", "Cleared", "Gave"),
            [_row(report, k) for k in range(len(report.batches))],
        )
        if report.batches
        else "<p>Nothing was sown this season.</p>",
        '<p class="quiet">Dates after a comma are a 90 % interval. For a batch that came up, "exp." is what '
        "the soil it had made likely.</p>",
    ]
    for one in report.batches:
        said = words.batch_sentences(one, is_warm=words.is_warm(report, one.sowing.box))
        note = f" Note: {one.sowing.note}" if one.sowing.note else ""
        parts.append(
            f"<p><b>{one.sowing.id} {_safe(one.sowing.crop)}</b>: {_safe(' '.join(said) + note)}</p>"
        )
    parts.append("<h2>What the boxes did</h2>")
    parts.append(
        _table(
            ("Box", "Days ahead", "Nights saved", "Hot hours this week", "Sun a day"),
            [_box_row(report, k) for k in range(len(report.boxes))],
        )
    )
    parts += [
        f"<p><b>{_safe(one.box)}</b>: {_safe(' '.join(words.box_sentences(one)))}</p>" for one in report.boxes
    ]
    parts.append("<h2>Warnings</h2>")
    parts.append(f"<p>{_safe(words.warnings_sentence(report))}</p>")
    parts.append("<h2>Spots, and what this garden taught</h2>")
    parts.append(f"<p>{_safe(' '.join(words.closing_sentences(report)))}</p>")
    if lessons := words.lessons(report):
        parts.append("<h2>Next year</h2><ul>")
        parts += [f"<li>{_safe(one)}</li>" for one in lessons]
        parts.append("</ul>")
    return "\n".join(parts) + "\n"


def _row(report: SeasonReport, k: int) -> Sequence[str]:
    one = report.batches[k]
    sowing = one.sowing
    gave = [f"{sowing.yield_g} g"] if sowing.yield_g is not None else []
    flower = words.day_text(sowing.flowering)
    return (
        f"{sowing.id} {sowing.crop}", sowing.box, words.day_text(sowing.sown), words.up_text(one, report.day),
        words.pick_text(one), flower, words.day_text(sowing.cleared),
        ", ".join([*gave, *([sowing.yield_note] if sowing.yield_note else [])]) or "-",
    )  # fmt: skip


def _box_row(report: SeasonReport, k: int) -> Sequence[str]:
    box = report.boxes[k]
    ahead = box.head_start.days if box.head_start is not None else None
    return (
        box.box,
        "-" if ahead is None else f"{ahead:.0f}",
        "-" if box.worth is None else str(box.worth.nights_saved),
        "-" if box.worth is None else str(box.worth.hot_hours),
        "-" if box.sun is None else f"{box.sun.sun_h:.1f} h",
    )


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    top = "".join(f'<th scope="col">{_safe(head)}</th>' for head in heads)
    body = "".join(f"<tr>{''.join(f'<td>{_safe(cell)}</td>' for cell in row)}</tr>" for row in rows)
    return f"<table><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>"


def _safe(text: str) -> str:
    return html.escape(text, quote=True)
