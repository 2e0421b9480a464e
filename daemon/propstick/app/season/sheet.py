"""The season as one page to keep: HTML that needs nothing else and prints on paper, PDF, or the data."""

from __future__ import annotations

import html
import json
from pathlib import Path

from propstick.app.season.contents import Grid, Heading, Part, Points, Words, contents
from propstick.app.season.report import SeasonReport
from propstick.errors import InputError

_STYLE = """
body{font:16px/1.45 Georgia,serif;max-width:46rem;margin:2rem auto;padding:0 1rem;color:#222;background:#fff}
table{border-collapse:collapse;width:100%;font-size:.92rem;margin:1rem 0}
th,td{text-align:left;padding:.25rem .5rem .25rem 0;border-bottom:1px solid #999;vertical-align:top}
div{overflow-x:auto}h2{margin-top:1.6rem}p.quiet{font-size:.88rem}
@media print{body{margin:0;max-width:none}h2{break-after:avoid}tr{break-inside:avoid}}
"""
KINDS = (".html", ".pdf", ".json")


def write_sheet(report: SeasonReport, file: str) -> None:
    """Writes the page (`.html`, `.pdf`) or the data (`.json`).

    Raises:
        InputError: another ending, a place that cannot be written, or no PDF writer installed.
    """
    path = Path(file)
    if path.suffix not in KINDS:
        raise InputError(
            f"--report: got {file!r}, expected a name that ends in {', '.join(KINDS[:-1])} or {KINDS[-1]}"
        )
    try:
        path.write_bytes(_written(report, path.suffix))
    except OSError as error:
        raise InputError(f"--report: {file} cannot be written: {error.strerror or error}") from None


def _written(report: SeasonReport, kind: str) -> bytes:
    if kind == ".pdf":
        from propstick.app.season.paper import paper  # its library takes a while to load

        return paper(contents(report))
    if kind == ".json":
        return (json.dumps(report.to_json(), ensure_ascii=False, indent=2) + "\n").encode()
    return sheet(report).encode()


def sheet(report: SeasonReport) -> str:
    """The page's text."""
    parts = contents(report)
    title = parts[0].text if isinstance(parts[0], Heading) else report.site
    return "\n".join(
        [
            "<!doctype html>\n",
            f'<html lang="en"><meta charset="utf-8"><title>{_safe(title)}</title><style>{_STYLE}</style>',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            *map(_part, parts),
            "",
        ]
    )


def _part(part: Part) -> str:
    match part:
        case Heading(text, level):
            return f"<h{level}>{_safe(text)}</h{level}>"
        case Words(about, text, quiet):
            head = f"<b>{_safe(about)}</b>: " if about else ""
            return f"<p{' class=quiet' * quiet}>{head}{_safe(text)}</p>"
        case Points(texts):
            return f"<ul>{''.join(f'<li>{_safe(one)}</li>' for one in texts)}</ul>"
        case Grid(heads, rows):
            top = "".join(f'<th scope="col">{_safe(head)}</th>' for head in heads)
            body = "".join(f"<tr>{''.join(f'<td>{_safe(cell)}</td>' for cell in row)}</tr>" for row in rows)
            return f"<div><table><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table></div>"


def _safe(text: str) -> str:
    return html.escape(text, quote=True)
