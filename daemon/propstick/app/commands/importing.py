"""`propstick import RECORDING`: readings from elsewhere into the store, for history and replay."""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

from propstick.app.commands._shared import add_json, print_json, say, settings_of, store_of
from propstick.app.progress import Progress
from propstick.blocks import Flag
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
    columns = timed(replace(recording.columns, probes=stored_ids(recording.probes, garden)))
    with store_of(settings, create=True) as store, Progress(f"importing {recording.name}") as bar:
        added = ReadingLog(store, garden.site.name).bulk_add(columns, progress=bar.to)
    counts = {
        "cells": recording.cells,
        "added": added,
        "already_there": len(columns) - added,
        "left_out": recording.cells - len(columns),
    }
    if args.json:
        print_json(counts | {"remarks": list(recording.remarks)})
        return 0
    for remark in recording.remarks:
        say(remark)
    print(
        f"{recording.name}: {added:,} readings added, {counts['already_there']:,} were there, "
        f"{counts['left_out']:,} left out (no believable time, or a cover)"
    )
    return 0


def timed(columns: ReadingColumns) -> ReadingColumns:
    """Less the readings whose time cannot be right: in a store they would be the newest for ever."""
    good = (columns.flags & int(Flag.CLOCK)) == 0
    return ReadingColumns(
        probes=columns.probes,
        time_ms=np.ascontiguousarray(columns.time_ms[good]),
        column=np.ascontiguousarray(columns.column[good]),
        raw=np.ascontiguousarray(columns.raw[good]),
        flags=np.ascontiguousarray(columns.flags[good]),
    )


def stored_ids(probes: tuple[Probe, ...], garden: Garden) -> tuple[str, ...]:
    """The garden's own probe ids for a recording's columns.

    `north.air.ID` is the probe of that id there; `north.air` the only probe there. A place without a
    probe keeps the column's name, which `propstick probes name` can assign later.

    Raises:
        InputError: a column that several probes could be, or two columns for one probe.
    """
    ids = tuple(_stored_id(probe, garden) for probe in probes)
    for k, probe_id in enumerate(ids):
        if probe_id in ids[:k]:
            first = probes[ids.index(probe_id)].id
            raise InputError(
                f"columns {first} and {probes[k].id}: both are probe {probe_id}, expected one column"
            )
    return ids


def _stored_id(probe: Probe, garden: Garden) -> str:
    there = [p.id for p in garden.probes_at(probe.box, probe.place)]
    named = probe.id.removeprefix(f"{probe.box}.{probe.place}").removeprefix(".")
    if named:
        return named if named in there else probe.id
    if len(there) > 1:
        raise InputError(
            f"column {probe.id}: got a place with probes {', '.join(there)}, expected a column for each",
            hint=f"name the column {probe.id}.{there[0]}",
        )
    return there[0] if there else probe.id
