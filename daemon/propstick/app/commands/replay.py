"""`propstick replay`: which warnings a recording, or a stored night, would have given."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from propstick.app.commands._shared import add_json, print_json
from propstick.errors import ConfigError, InputError

if TYPE_CHECKING:
    from propstick.app.replay.report import Report
    from propstick.app.replay.what_if import Asked
    from propstick.engine.pipeline import EngineState
    from propstick.garden import Garden


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick replay night.csv --site 53.35,-6.26,Europe/Dublin --set heat_c=26\n"
        "  propstick replay --night 2026-04-12 --chart night.svg\n\n"
        "A recording needs no garden file: every column is a probe, every box has the default limits and a\n"
        "sowing of unknown crop. Columns: time, then <box>.<place> such as outside.air, north.air,\n"
        "north.soil, north.lid (0 to 1), north.cover (0 or 1), north.humidity (%).\n"
    )
    # argparse takes `-33.9,…` for an option; a figure after a minus sign is none of ours.
    parser._negative_number_matcher = re.compile(r"-\d.*")
    parser.add_argument("recording", nargs="?", metavar="RECORDING", help="CSV or SenML; - is standard input")
    parser.add_argument("--night", metavar="DATE", help="replay this night from the store, as it was lived")
    parser.add_argument(
        "--site", metavar="LAT,LON,ZONE", help="where the recording was made (default: unknown)"
    )
    parser.add_argument(
        "--set", action="append", default=[], metavar="[BOX.]KEY=VALUE", dest="settings",
        help="a limit (heat_c, or heat_f in °F), a delay, an hour of yours (bed=22:00); once per pair",
    )  # fmt: skip
    parser.add_argument(
        "--unit", choices=("C", "F"), default=None, help="unit of air and soil in the recording (default C)"
    )
    parser.add_argument(
        "--what-if", metavar='"BOX closed|open|propped|covered HH:MM"',
        help="how the night would have gone with another lid or cover from then on",
    )  # fmt: skip
    parser.add_argument(
        "--chart", metavar="FILE.svg|png", help="draw the night (of a long recording the worst)"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    chart = None if args.chart is None else _chart_path(args.chart)
    night = None if args.night is None else _date(args.night)
    if args.recording is None and night is None:
        raise InputError(
            "replay: got neither a recording nor --night",
            hint="propstick replay night.csv, or - for standard input",
        )
    report = _from_store(args, night) if args.recording is None else _from_recording(args, night)
    if chart is not None:
        _draw(report, chart, night)
    if args.json:
        print_json(report.to_json())
    else:
        from propstick.app.replay.table import table_of

        print(table_of(report))
    return 0


def _from_recording(args: argparse.Namespace, night: date | None) -> Report:
    from propstick.app import recording as recordings
    from propstick.app.progress import Progress
    from propstick.app.replay.garden import garden_of, site_of, with_settings
    from propstick.app.replay.run import replay, state_before
    from propstick.app.replay.what_if import stretch_of

    base = _garden_file(args)
    site_unit = args.unit or (base.site.unit if base else "C")
    site = site_of(args.site, unit=site_unit) if args.site else None
    known_zone = site or (base.site if base else None)
    recording = recordings.read(
        args.recording,
        unit=args.unit or "C",
        zone=known_zone.zone if known_zone else None,
        known_boxes=base.box_names if base else None,
        step_s=base.step_s if base else 60,
    )
    garden = with_settings(
        garden_of(recording, base=base, site=site, unit=None if base else site_unit), args.settings
    )
    asked = _asked(args, garden)
    with Progress(f"replaying {recording.name}") as bar:
        report = replay(recording, garden, progress=bar.to)
    if asked is None:
        return report
    at_s, end_s = stretch_of(asked, report, night)
    return _answered(
        report, asked, at_s, end_s, state_before=lambda row_s: state_before(recording, garden, row_s)
    )


def _garden_file(args: argparse.Namespace) -> Garden | None:
    """The garden of `--garden`; a recording does not take the one that happens to lie here."""
    if not args.garden:
        return None
    from propstick.app.garden_file.load import load

    return load(args.garden, probes_required=False).garden


def _from_store(args: argparse.Namespace, night: date) -> Report:
    from propstick.app.commands._shared import settings_of
    from propstick.app.replay.night import night_from_store, state_before
    from propstick.app.replay.what_if import moment_of, stretch_of
    from propstick.app.store import store_of

    for option in ("site", "unit"):
        if getattr(args, option):
            raise InputError(f"--{option}: got it beside --night, expected it with a recording only")
    settings = settings_of(args, probes_required=False)
    garden = settings.garden
    asked = _asked(args, garden)
    since_s = None if asked is None else moment_of(asked, garden.site, night)
    with store_of(settings) as store:
        report = night_from_store(store, garden, night, settings=args.settings, since_s=since_s)
        if asked is None:
            return report
        at_s, end_s = stretch_of(asked, report, night)
        return _answered(
            report, asked, at_s, end_s,
            state_before=lambda row_s: state_before(store, garden, row_s, settings=args.settings),
        )  # fmt: skip


def _asked(args: argparse.Namespace, garden: Garden) -> Asked | None:
    from propstick.app.replay.what_if import asked_of

    return None if args.what_if is None else asked_of(args.what_if, garden.box_names)


def _answered(
    report: Report, asked: Asked, at_s: int, end_s: int, *, state_before: Callable[[int], EngineState]
) -> Report:
    from propstick.app.replay.what_if import answer

    found = answer(asked, report, at_s=at_s, end_s=end_s, state_before=state_before)
    return replace(report, what_if=found)


def _chart_path(text: str) -> Path:
    path = Path(text)
    if path.suffix.lower() not in (".svg", ".png"):
        raise InputError(f"--chart: got {text!r}, expected a file that ends in .svg or .png")
    if not path.parent.is_dir():
        raise InputError(f"--chart: got folder {str(path.parent)!r}, expected one that exists")
    return path


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"--night: got {text!r}, expected a date such as 2026-04-12") from None


def _draw(report: Report, path: Path, night: date | None) -> None:
    from propstick.app.replay.scene import scene_of
    from propstick.drawing import night_picture

    svg = night_picture(scene_of(report, night))
    try:
        if path.suffix.lower() == ".svg":
            path.write_text(svg, encoding="utf-8")
        else:
            from propstick.app.render import png

            path.write_bytes(png(svg))
    except OSError as error:
        raise ConfigError(f"--chart {path}: got {error.strerror}, expected to write there") from None
    print(f"picture written to {path}", file=sys.stderr)
