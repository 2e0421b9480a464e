"""Times, degrees and lines of a report as a terminal of eighty columns shows them."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from propstick.app.replay.report import Report
from propstick.app.tables import table_lines
from propstick.times import clock_text, local
from propstick.units import shown

WIDTH = 80


def moment_of(time_s: int, report: Report, *, short_of: int | None = None) -> str:
    """Local day and clock; the clock alone on the day of `short_of`; the year only where there are two."""
    zone = report.garden.site.zone
    here = local(time_s, zone)
    if short_of is not None and here.date() == local(short_of, zone).date():
        return clock_of(time_s, report)
    years = local(report.from_s, zone).year != local(report.to_s, zone).year
    return f"{here.day} {here:%b}{f' {here.year}' if years else ''} {clock_of(time_s, report)}"


def clock_of(time_s: int, report: Report) -> str:
    """The time of day on the site's clock."""
    return clock_text(time_s, report.garden.site.zone, twelve_hour=report.garden.twelve_hour)


def day_of(time_s: int, report: Report) -> str:
    """The day on the site's clock, with its year."""
    here = local(time_s, report.garden.site.zone)
    return f"{here.day} {here:%b %Y}"


def degrees_of(value_c: float, report: Report) -> str:
    """A temperature in the person's unit, with it."""
    return f"{figure_of(value_c, report)} °{report.garden.site.unit}"


def figure_of(value_c: float, report: Report) -> str:
    """A temperature in the person's unit, without it."""
    figure = round(shown(value_c, report.garden.site.unit), 1) + 0.0  # no minus before a zero
    return f"{figure:.1f}".replace("-", "\u2212").replace(".", report.garden.decimal_sign)


def rest_of(items: Sequence[object], most: int) -> list[str]:
    """How many are not shown; nothing where all are."""
    return [f"  and {len(items) - most:,} more; --json has them all"] if len(items) > most else []


def table_that_fits(headers: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """The table's lines, cut where they are too long."""
    return [line[:WIDTH] for line in table_lines(headers, rows)]


def wrapped(text: str, *, indent: str = "", rest: str = "") -> list[str]:
    """A sentence in lines that fit."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=rest, break_on_hyphens=False)
