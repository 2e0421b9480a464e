"""`propstick export`: stored readings as a recording, alarms as the objects of the HTTP interface."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from propstick.app.commands._shared import say, settings_of
from propstick.app.moments import moment
from propstick.app.progress import Progress
from propstick.app.store import store_of
from propstick.errors import InputError

LATEST_S = 4_102_444_800
"""2100-01-01: after every alarm."""

if TYPE_CHECKING:
    from propstick.edges.store import Store
    from propstick.garden import Garden


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick export --readings spring.csv --from 2026-03-01\n"
        "  propstick export --alarms - | less\n\n"
        "A file that ends in .json is SenML (RFC 8428), any other CSV. - is standard output. Readings are\n"
        "raw, as sensed, in °C; `propstick replay` and `propstick import` read them back.\n"
    )
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--readings", metavar="FILE", help="write readings to FILE")
    what.add_argument("--alarms", metavar="FILE", help="write alarms to FILE, JSON")
    parser.add_argument(
        "--from", dest="begin", metavar="TIME", help="from this day or RFC 3339 time on (default: the first)"
    )
    parser.add_argument("--to", dest="end", metavar="TIME", help="up to this day or time (default: the last)")


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    settings = settings_of(args, probes_required=False)
    garden = settings.garden
    begin_s = None if args.begin is None else moment(args.begin, garden.site.zone, what="--from")
    end_s = None if args.end is None else moment(args.end, garden.site.zone, what="--to", is_end=True)
    if begin_s is not None and end_s is not None and begin_s >= end_s:
        raise InputError(f"export: got --from {args.begin} --to {args.end}, expected the earlier one first")
    with store_of(settings) as store:
        if args.alarms is not None:
            return _alarms(store, garden, args.alarms, begin_s or 0, LATEST_S if end_s is None else end_s)
        first_s, last_s = _span_s(store, garden)
        return _readings(
            store,
            garden,
            args.readings,
            first_s if begin_s is None else begin_s,
            last_s if end_s is None else end_s,
        )


def _span_s(store: Store, garden: Garden) -> tuple[int, int]:
    from propstick.edges.readings import ReadingLog

    span = ReadingLog(store, garden.site.name).span()
    return (0, 0) if span is None else (span[0] // 1000, span[1] // 1000 + 1)


def _readings(store: Store, garden: Garden, file: str, first_s: int, last_s: int) -> int:
    from propstick.edges.export import column_names, write_csv, write_senml
    from propstick.edges.journal import Journal
    from propstick.edges.readings import ReadingLog

    log, names = ReadingLog(store, garden.site.name), column_names(garden)
    with _output(file) as out, Progress(f"writing {file}") as bar:
        span = {"names": names, "from_ms": first_s * 1000, "to_ms": last_s * 1000, "progress": bar.to}
        if file.endswith(".json"):
            done = write_senml(log, out, **span)
        else:
            told = Journal(store, garden.site.name).news_between(0, last_s)
            done = write_csv(log, out, told=told, **span)
    say(f"{done.readings:,} readings written to {'standard output' if file == '-' else file}")
    if done.left_out:
        say(f"Left out, in no box of the garden file nor outside: {', '.join(done.left_out)}")
    return 0


def _alarms(store: Store, garden: Garden, file: str, first_s: int, last_s: int) -> int:
    from propstick.edges.export import write_alarms
    from propstick.edges.journal import Journal

    with _output(file) as out:
        count = write_alarms(Journal(store, garden.site.name), out, from_s=first_s, to_s=last_s)
    say(f"{count:,} alarms written to {'standard output' if file == '-' else file}")
    return 0


@contextmanager
def _output(file: str) -> Iterator[TextIO]:
    """Standard output, or a file that has its name only when it is complete."""
    if file == "-":
        yield sys.stdout
        return
    target = Path(file)
    part = target.with_name(f"{target.name}.part")
    try:
        with part.open("w", encoding="utf-8", newline="") as out:
            yield out
        os.replace(part, target)
    except OSError as error:
        raise InputError(
            f"export to {file}: {error.strerror or error}", hint="give another file or folder"
        ) from None
    finally:
        part.unlink(missing_ok=True)
