"""A table as lines of plain text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def table_lines(headers: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Columns as wide as they must be, two blanks apart."""
    rows = list(rows)
    widths = [max(len(row[k]) for row in (headers, *rows)) for k in range(len(headers))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in (headers, *rows)
    ]
