"""`propstick check`: is everything as it should be, and what to do if not. One line each."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from propstick.app.checks import garden, machine, probes, reach
from propstick.app.checks.finding import Finding
from propstick.app.commands._shared import add_json, buses_of, print_json
from propstick.app.garden_file.load import find_file, load_all
from propstick.app.garden_file.settings import Settings
from propstick.app.sightings import Sighting, read_buses, sightings
from propstick.app.store import store_of
from propstick.errors import StoreError
from propstick.records import Reading


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick check\n"
        "  propstick check --send          and a try notice to every address: did it arrive?\n\n"
        "Marks: ok; look: works, but somebody should know; bad: does not work. Below a line that is not ok\n"
        "stands what to do. Exit status 1 if any is bad. Changes nothing; the watch may run meanwhile.\n"
    )
    parser.add_argument(
        "--send", action="store_true", help="really send a notice to every address (default: no)"
    )
    parser.add_argument(
        "--thorough", action="store_true", help="also search a large store for damage (default: up to 32 MiB)"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    from propstick.edges.clock import SystemClock

    clock = SystemClock()
    findings: list[Finding] = []
    # A box without a probe is a finding: refused, the file would hide what the wire has to say.
    for settings in load_all(Path(find_file(args.garden)), probes_required=False):
        for finding in findings_of(
            settings, now_s=int(clock.wall_s()), send=args.send, is_thorough=args.thorough
        ):
            findings.append(finding)
            if not args.json:
                _print(finding)
    if args.json:
        print_json([finding.to_json() for finding in findings])
    return 1 if any(finding.mark == "bad" for finding in findings) else 0


def findings_of(
    settings: Settings, *, now_s: int, send: bool = False, is_thorough: bool = False
) -> Iterator[Finding]:
    """Everything about one garden, in the order in which a grower would mend it."""
    yield from garden.garden(settings, now_s=now_s)
    wired, troubles = read_buses(buses_of(settings), now_s)
    yield from probes.probes(settings, _with_stored(settings, wired, now_s), troubles, now_s=now_s)
    store_findings, last_row_s = reach.store(settings, now_s=now_s, is_thorough=is_thorough)
    yield from store_findings
    if settings.mqtt is not None:
        yield from reach.broker(settings.mqtt)
    yield from reach.push(settings, send=send, now_s=now_s)
    yield from garden.unnoticed(settings)
    yield machine.clock(settings, now_s=now_s, last_row_s=last_row_s, synchronised=machine.is_synchronised())
    yield machine.disk(settings)


def _with_stored(settings: Settings, wired: list[Reading], now_s: int) -> list[Sighting]:
    """Wireless probes speak through the store, if there is one; its own trouble has a line of its own."""
    if not any("/" in probe.id for probe in settings.garden.probes):
        return sightings(settings.garden, wired)
    try:
        with store_of(settings) as store:
            from propstick.edges.readings import ReadingLog

            log = ReadingLog(store, settings.garden.site.name)
            return sightings(settings.garden, wired, log=log, now_s=now_s)
    except StoreError:
        return sightings(settings.garden, wired)


def _print(finding: Finding) -> None:
    print(f"{finding.mark:<4}  {finding.thing:<15}  {finding.found}")
    if finding.do:
        print(f"{'':<23}-> {finding.do}")
