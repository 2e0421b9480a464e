"""`propstick import RECORDING`: readings from elsewhere into the store, for history and replay."""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

from propstick.app.commands._shared import add_json, print_json, say, settings_of
from propstick.app.progress import Progress
from propstick.app.store import store_of
from propstick.blocks import FAULT_BITS, Flag
from propstick.errors import InputError
from propstick.garden import Garden, Probe
from propstick.grid import ReadingColumns


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick import spring.csv --unit F\n\n"
        "A column `north.air` counts as the probe the garden file has there. Readings already stored stay;\n"
        "an import can be repeated. Past alarms are not made anew: replay shows what they would have been.\n"
    )
    parser.add_argument("recording", metavar="RECORDING", help="CSV or SenML; - reads standard input")
    parser.add_argument("--unit", choices=("C", "F"), default="C", help="unit of air and soil (default C)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    from propstick.app.recording import read
    from propstick.edges.readings import ReadingLog

    settings = settings_of(args, probes_required=False)
    garden = settings.garden
    recording = read(
        args.recording,
        unit=args.unit,
        zone=garden.site.zone,
        known_boxes=garden.box_names,
        step_s=garden.step_s,
    )
    ids = stored_ids(recording.probes, garden)
    columns = timed(replace(recording.columns, probes=ids))
    known = {probe.id for probe in garden.probes}
    unused = [probe_id for probe_id in ids if probe_id not in known]
    with store_of(settings, create=True) as store, Progress(f"importing {recording.name}") as bar:
        added = ReadingLog(store, garden.site.name).bulk_add(columns, progress=bar.to)
    counts = {
        "cells": recording.cells,
        "added": added,
        "already_there": len(columns) - added,
        "left_out": recording.cells - len(columns),
    }
    flagged = {
        flag.word: count for flag in Flag if flag & FAULT_BITS and (count := _with_flag(columns, flag))
    }
    if args.json:
        more = {"flagged": flagged, "remarks": list(recording.remarks), "without_a_place": unused}
        print_json(counts | more)
        return 0
    for remark in recording.remarks:
        say(remark)
    print(
        f"{recording.name}: {added:,} readings added, {counts['already_there']:,} were there, "
        f"{counts['left_out']:,} left out (no believable time, or a cover)"
    )
    if flagged:
        print("flagged and kept: " + ", ".join(f"{count:,} {word}" for word, count in flagged.items()))
    if unused:
        box, _, place = unused[0].partition(".")
        print(
            f"kept, but used by nothing, for no probe is there in the garden file: {', '.join(unused)}\n"
            f"Try: propstick probes name ID {box} {place.partition('.')[0]}, then import it again"
        )
    return 0


def _with_flag(columns: ReadingColumns, flag: Flag) -> int:
    return int(np.count_nonzero(columns.flags & int(flag)))


def timed(columns: ReadingColumns) -> ReadingColumns:
    """Less the readings whose time cannot be right: in a store they would be the newest for ever."""
    return columns.taken((columns.flags & int(Flag.CLOCK)) == 0)


def stored_ids(probes: tuple[Probe, ...], garden: Garden) -> tuple[str, ...]:
    """The garden's own probe ids for a recording's columns, named as `export` names them.

    A place without a probe keeps the column's name, which `propstick probes name` can assign later.

    Raises:
        InputError: a column that several probes could be, or two columns for one probe.
    """
    from propstick.edges.export import column_names

    known = {column: probe_id for probe_id, column in column_names(garden).items()}
    ids = tuple(known.get(probe.id, probe.id) for probe in probes)
    for k, probe in enumerate(probes):
        there = garden.probes_at(probe.box, probe.place)
        if probe.id == f"{probe.box}.{probe.place}" and len(there) > 1:
            columns = [column for column, probe_id in known.items() if probe_id in {p.id for p in there}]
            raise InputError(
                f"column {probe.id}: got a place with {len(there)} probes, expected to know which",
                hint=f"name the column {' or '.join(columns)}",
            )
        if ids[k] in ids[:k]:
            first = probes[ids.index(ids[k])].id
            raise InputError(f"columns {first} and {probe.id}: both are probe {ids[k]}, expected one")
    return ids
