"""`propstick season`: what comes up when, what is picked when, what to sow next, what the boxes did."""

from __future__ import annotations

import argparse
import textwrap
from typing import TYPE_CHECKING

from propstick.app.commands._shared import add_json, print_json, print_table, say, settings_of
from propstick.app.store import store_of
from propstick.errors import InputError

if TYPE_CHECKING:
    from propstick.app.garden_file.settings import Settings
    from propstick.app.season.report import SeasonReport
    from propstick.edges.store import Store

WIDTH = 80


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick season                         every batch and box as it stands\n"
        "  propstick season --every 10              to pick each crop anew every 10 days\n"
        "  propstick season --harden north          a week of lid openings before its cover goes\n"
        "  propstick season --report spring.html    one page to keep; or .pdf; .json for the data\n\n"
        "Dates after a comma are a 90 % interval. Figures and their sources: crops.toml of the program;\n"
        "a crops.toml beside the garden file corrects them and adds crops.\n"
    )
    parser.add_argument(
        "--every",
        type=float,
        default=14.0,
        metavar="DAYS",
        help="days from pick to pick, 3 to 60 (default 14)",
    )
    parser.add_argument("--harden", metavar="BOX", help="the plan of a week's hardening off (default: none)")
    parser.add_argument(
        "--done",
        type=int,
        metavar="N",
        help="with --harden: days of it done, 0 to 6 (default: as the recorded lid says)",
    )
    parser.add_argument("--report", metavar="FILE", help="write one page: .html, .pdf, .json (default: none)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    if not 3.0 <= args.every <= 60.0:
        raise InputError(f"--every: got {args.every:g}, expected 3 to 60 days")
    from propstick.app.season.report import season_report
    from propstick.edges.clock import SystemClock

    settings = settings_of(args, probes_required=False)
    now_s = int(SystemClock().wall_s())
    with store_of(settings) as store:
        if args.harden is not None:
            return _harden(args, settings, store, now_s)
        report = season_report(store, settings.garden, now_s, garden_file=settings.path, every_d=args.every)
    if args.report is not None:
        from propstick.app.season.sheet import write_sheet

        write_sheet(report, args.report)
        say(f"The season is written to {args.report}")
        return 0
    if args.json:
        print_json(report.to_json())
    else:
        show(report)
    return 0


def show(report: SeasonReport) -> None:
    """Prints the season: tables, then a paragraph for each batch, box and spot."""
    from propstick.app.season import spot_words, words

    since = words.date_said(report.since, report.day)
    print(f"{report.site}, {report.day:%-d %B %Y}; the season is counted from {since}")
    print()
    if not report.batches:
        print("Nothing sown this season. propstick sow CROP BOX writes a batch down.")
    else:
        print_table(
            ("ID", "CROP", "BOX", "SOWN", "UP", "FIRST PICK"),
            [
                (
                    str(one.sowing.id), one.sowing.crop[:13], one.sowing.box[:9],
                    words.day_text(one.sowing.sown), words.up_text(one, report.day)[:21],
                    words.pick_text(one, report.day)[:21],
                )
                for one in report.batches
            ],
        )  # fmt: skip
    for one in report.batches:
        warm = words.is_warm(report, one.sowing.box)
        _paragraph(f"{one.sowing.id} {one.sowing.crop}", words.batch_sentences(one, is_warm=warm), report)
    _paragraph("left open", words.left_open_sentences(report), report)
    for box in report.boxes:
        _paragraph(box.box, words.box_sentences(box), report)
    _paragraph("best spot now", spot_words.siting_sentences(report), report)
    if rows := spot_words.spot_rows(report):
        print()
        print_table(
            tuple(head.upper() for head in spot_words.spot_heads(report)),
            [
                (spot[:24], *(words.in_figures_of(one, report.decimal_sign) for one in rest))
                for spot, *rest in rows
            ],
        )
        for text in spot_words.light_words(report):
            print(textwrap.fill(text, WIDTH))
    _paragraph("spots", words.closing_sentences(report), report)


def _paragraph(name: str, sentences: list[str], report: SeasonReport) -> None:
    from propstick.app.season.words import in_figures_of

    if sentences:
        said = in_figures_of(" ".join(sentences), report.decimal_sign)
        print()
        print(textwrap.fill(f"{name}: {said}", WIDTH, subsequent_indent="  "))


def _harden(args: argparse.Namespace, settings: Settings, store: Store, now_s: int) -> int:
    from propstick.app.season.hardening import plan_for

    plan = plan_for(store, settings.garden, args.harden, now_s, done=args.done, garden_file=settings.path)
    if args.json:
        print_json([day.to_json() for day in plan])
        return 0
    if not plan:
        print(f"{args.harden} has been hardened off: a week of open lids is recorded. The cover can go.")
        return 0
    print_table(
        ("DAY", "LID BY DAY", "LID AT NIGHT", "WHY"),
        [
            (f"{one.day:%a %-d %b}", f"{one.by_day:g}", f"{one.at_night:g}", one.words[:44])
            for one in plan
        ],
    )  # fmt: skip
    print()
    by_hand = "as you said" if args.done is not None else "by the recorded lid; --done N if that is wrong"
    print(f"{7 - len(plan)} of 7 days done, {by_hand}. Ask again each evening: the night decides;")
    print(f"or let the evening brief say it: propstick harden {args.harden} on")
    return 0
