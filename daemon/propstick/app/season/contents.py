"""What stands on the season's page, part by part, whatever it is written on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from propstick.app.season import spot_words, words
from propstick.app.season.report import SeasonReport

_INTERVALS = (
    'Dates after a comma are a 90 % interval. For a batch that came up, "exp." is what the soil it had '
    "made likely."
)


@dataclass(frozen=True)
class Heading:
    """A heading; level 1 is the page's own."""

    text: str
    level: int = 2


@dataclass(frozen=True)
class Words:
    """A paragraph: what it is about, then what is said; `quiet` for the small print."""

    about: str
    text: str
    quiet: bool = False


@dataclass(frozen=True)
class Grid:
    """A table; every cell is text."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Points:
    """A list."""

    texts: tuple[str, ...]


Part = Heading | Words | Grid | Points


def contents(report: SeasonReport) -> Sequence[Part]:
    """The page from top to bottom."""
    parts: list[Part] = [
        Heading(
            f"{report.site}: the season, {words.date_said(report.since, report.day)} to "
            f"{report.day:%-d %B %Y}",
            level=1,
        ),
        Heading("What was sown, and what came of it"),
    ]
    if report.batches:
        heads = ("Batch", "Sown", "Up", "First pick", "Flowering", "Cleared", "Gave")
        parts.append(_filled(heads, [_batch_row(report, k) for k in range(len(report.batches))]))
        parts.append(Words("", _INTERVALS, quiet=True))
    else:
        parts.append(Words("", "Nothing was sown this season."))
    for one in report.batches:
        said = words.batch_sentences(one, is_warm=words.is_warm(report, one.sowing.box))
        note = f" Note: {one.sowing.note}" if one.sowing.note else ""
        if said or note:
            parts.append(Words(f"{one.sowing.id} {one.sowing.crop}", f"{_said(report, said)}{note}".strip()))
    parts += [Words("Left open", one) for one in words.left_open_sentences(report)]
    parts.append(Heading("What the boxes did"))
    heads = ("Box", "Days ahead", "Nights saved", "Hot hours this week", "Sun a day")
    parts.append(Grid(heads, tuple(_box_row(report, k) for k in range(len(report.boxes)))))
    parts += [Words(one.box, _said(report, words.box_sentences(one))) for one in report.boxes]
    parts += _where(report)
    parts += [Heading("Warnings"), Words("", words.warnings_sentence(report))]
    if lessons := words.lessons(report):
        parts += [Heading("Next year"), Points(tuple(lessons))]
    return parts


def _filled(heads: Sequence[str], rows: Sequence[tuple[str, ...]]) -> Grid:
    """The table without the columns in which nothing stands."""
    kept = [k for k in range(len(heads)) if k == 0 or any(row[k] != "-" for row in rows)]
    return Grid(tuple(heads[k] for k in kept), tuple(tuple(row[k] for k in kept) for row in rows))


def _where(report: SeasonReport) -> list[Part]:
    """The spots: what to do first, then each of them, then what changes and what was learnt."""
    parts: list[Part] = [Heading("Where a box serves best now")]
    parts += [Words("", _said(report, [one])) for one in spot_words.siting_sentences(report)]
    if rows := spot_words.spot_rows(report):
        parts += [
            Heading("What each spot gives"),
            Grid(spot_words.spot_heads(report), tuple(_figures(report, rows))),
        ]
        parts += [Words("", text, quiet=True) for text in spot_words.light_words(report)]
    if closing := words.closing_sentences(report):
        parts.append(Points(tuple(_said(report, [one]) for one in closing)))
    return parts


def _figures(report: SeasonReport, rows: Sequence[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Names as they are, figures with the person's decimal sign."""
    return [(row[0], *(words.in_figures_of(cell, report.decimal_sign) for cell in row[1:])) for row in rows]


def _said(report: SeasonReport, sentences: Sequence[str]) -> str:
    return words.in_figures_of(" ".join(sentences), report.decimal_sign)


def _batch_row(report: SeasonReport, k: int) -> tuple[str, ...]:
    one = report.batches[k]
    sowing = one.sowing
    gave = [f"{sowing.yield_g} g"] if sowing.yield_g is not None else []
    return (
        f"{sowing.id} {sowing.crop}",
        f"{words.day_text(sowing.sown)}, {sowing.box}",
        words.up_text(one, report.day),
        words.pick_text(one, report.day),
        words.day_text(sowing.flowering),
        words.day_text(sowing.cleared),
        ", ".join([*gave, *([sowing.yield_note] if sowing.yield_note else [])]) or "-",
    )


def _box_row(report: SeasonReport, k: int) -> tuple[str, ...]:
    box = report.boxes[k]
    ahead = box.head_start.days if box.head_start is not None else None
    return (
        box.box,
        "-" if ahead is None else f"{ahead:.0f}",
        "-" if box.worth is None else str(box.worth.nights_saved),
        "-" if box.worth is None else str(box.worth.hot_hours),
        "-" if box.sun is None else words.in_figures_of(f"{box.sun.sun_h:.1f} h", report.decimal_sign),
    )
