"""Recordings: tables of readings outside the database, as CSV or SenML, read and judged.

    recording = read("night.csv", unit="C", zone="Europe/Dublin")

Whatever can be read one way only is read and said in `remarks`; what would need a guess is refused
with one line that names file, line and column; what cannot be used is kept with a flag.
"""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from propstick.app.recording.assemble import Recording, recording_of
from propstick.app.recording.clock import UNREADABLE
from propstick.app.recording.csv_reader import Table, read_table
from propstick.app.recording.header import header_of
from propstick.app.recording.judge import wrong_clock
from propstick.app.recording.names import ColumnName, column_name
from propstick.app.recording.order import order_of
from propstick.app.recording.problems import Problems, shown
from propstick.app.recording.senml_reader import is_senml, read_senml
from propstick.app.recording.sniff import load, text_of
from propstick.blocks import Flag
from propstick.grid import ReadingColumns
from propstick.times import zone as zone_named
from propstick.units import Unit

__all__ = ["Recording", "read"]


def read(
    source: str | Path | bytes,
    *,
    unit: Unit = "C",
    zone: str | None = None,
    known_boxes: Collection[str] | None = None,
    step_s: int = 60,
) -> Recording:
    """Reads a recording: CSV or SenML JSON, plain or gzip, in any of the usual encodings.

    Args:
        source: A path, `-` for standard input, or the bytes themselves.
        unit: Of air and soil in a CSV, where its column names do not say; SenML names its own units.
        zone: IANA zone in which times without an offset are read; None: such times are refused.
        known_boxes: Boxes of the garden file; None: every box named is taken.
        step_s: The grid's step; decides what is late and which probes are slow.

    Raises:
        InputError: the recording cannot be read without guessing; names file, line and column.
    """
    name, data = load(source)
    problems = Problems(name)
    text = text_of(data, problems)
    del data  # a season's bytes, its text and its figures at once are too much for the smallest Pi
    clock_zone = None if zone is None else zone_named(zone)
    if is_senml(text):
        readings, names = read_senml(text, known_boxes=known_boxes, problems=problems)
        untimed, in_order, units = 0, False, ("C",) * len(names)
    else:
        readings, names, untimed, said = _read_csv(text, clock_zone, known_boxes, problems)
        in_order, units = True, tuple(one or unit for one in said)
    return recording_of(
        readings, names, units=units, step_s=step_s, in_order=in_order, untimed=untimed, problems=problems
    )


def _read_csv(
    text: str, clock_zone: ZoneInfo | None, known_boxes: Collection[str] | None, problems: Problems
) -> tuple[ReadingColumns, tuple[ColumnName, ...], int, tuple[Unit | None, ...]]:
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    header = header_of(lines, problems)
    if lines[-1].strip() and lines[-1].count(header.separator) < len(header.cells):
        # No line end and too few cells: written when the power went, so its last figure may be cut too.
        problems.note("the last line breaks off; its last cell is not used", len(lines))
        lines[-1] = lines[-1].rpartition(header.separator)[0]
    names = tuple(
        column_name(cell, known_boxes=known_boxes, problems=problems, line=header.line, column=str(k + 2))
        for k, cell in enumerate(header.cells)
    )
    for k, cell in enumerate(header.cells):
        if cell in header.cells[:k]:
            raise problems.refusal(
                f"{shown(cell)} a second time", expected="each name once", line=header.line, column=str(k + 2)
            )
    table = read_table(lines, header, zone=clock_zone, problems=problems)
    del lines
    readings, untimed = _readings(table, problems)
    return readings, names, untimed, header.units


def _readings(table: Table, problems: Problems) -> tuple[ReadingColumns, int]:
    """The filled cells row by row, and how many had to be left out because their row has no time."""
    timed = table.time_ms != UNREADABLE
    untimed = int(np.count_nonzero(table.filled[~timed]))
    time_ms, values, filled = table.time_ms, table.values, table.filled
    if not timed.all():
        time_ms, values, filled = time_ms[timed], values[timed], filled[timed]
    rows_before = np.concatenate([[0], np.cumsum(timed)])
    order = order_of(time_ms, [int(rows_before[seam]) for seam in table.seams], problems)
    if order is not None:
        time_ms, values, filled = time_ms[order], values[order], filled[order]
    bad_clock = wrong_clock(time_ms, in_order=True)
    in_row = np.count_nonzero(filled, axis=1)
    # Not by row and column numbers: for a season those alone are as large as the readings.
    raw = values[filled]
    flags = np.zeros(raw.size, dtype=np.uint16)
    flags[np.isnan(raw)] |= int(Flag.NOT_A_NUMBER)
    flags[np.repeat(bad_clock, in_row)] |= int(Flag.CLOCK)
    return (
        ReadingColumns(
            probes=table.names,
            time_ms=np.repeat(time_ms, in_row),
            column=np.broadcast_to(np.arange(len(table.names), dtype=np.int32), filled.shape)[filled],
            raw=raw,
            flags=flags,
        ),
        untimed,
    )
