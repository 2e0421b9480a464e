"""Recordings in SenML JSON (RFC 8428): `n` is a column's name, `u` one of the units below."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from propstick.app.recording.judge import wrong_clock
from propstick.app.recording.names import ColumnName, column_name
from propstick.app.recording.problems import Problems, shown
from propstick.blocks import Flag
from propstick.errors import InputError
from propstick.grid import ReadingColumns
from propstick.senml import SenmlRecord, parse_pack
from propstick.units import KELVIN_AT_0_C

MOST_RECORDS = 5_000_000

_SCALES: dict[str, dict[str, tuple[float, float]]] = {
    "air": {"Cel": (1.0, 0.0), "K": (1.0, -KELVIN_AT_0_C)},
    "soil": {"Cel": (1.0, 0.0), "K": (1.0, -KELVIN_AT_0_C)},
    "humidity": {"%RH": (1.0, 0.0), "%": (1.0, 0.0), "/": (100.0, 0.0)},
    "moisture": {"%": (1.0, 0.0), "%RH": (1.0, 0.0), "/": (100.0, 0.0)},
    "lid": {"/": (1.0, 0.0), "%": (0.01, 0.0)},
    "cover": {"/": (1.0, 0.0), "%": (0.01, 0.0)},
}
"""Factor and offset to our unit, by place and registered unit; the first stands in where none is named."""


def is_senml(text: str) -> bool:
    """Whether a text is meant as SenML rather than as a table."""
    return text.lstrip()[:1] in ("[", "{")


def read_senml(
    text: str, *, known_boxes: Collection[str] | None, problems: Problems
) -> tuple[ReadingColumns, tuple[ColumnName, ...]]:
    """Readings in the pack's order, and what each column is about.

    Raises:
        InputError: not SenML; relative times, which a file cannot have; an unknown place or unit.
    """
    try:
        records = parse_pack(text, arrival_ms=None, largest_bytes=None, most_records=MOST_RECORDS)
    except InputError as error:
        raise InputError(f"recording {problems.name}: {error.message}", hint=error.hint) from None
    names: dict[str, ColumnName] = {}
    column = np.empty(len(records), dtype=np.int32)
    raw = np.empty(len(records))
    places: dict[str, int] = {}
    for k, record in enumerate(records):
        if record.name not in names:
            at = f"n of record {k + 1}"
            names[record.name] = column_name(
                record.name, known_boxes=known_boxes, problems=problems, line=None, column=at
            )
            places[record.name] = len(places)
        column[k] = places[record.name]
        raw[k] = _value(record, names[record.name].place, k + 1, problems)
    time_ms = np.array([record.time_ms for record in records], dtype=np.int64)
    flags = np.where(np.isnan(raw), int(Flag.NOT_A_NUMBER), 0)
    flags |= np.where(wrong_clock(time_ms, in_order=False), int(Flag.CLOCK), 0)
    readings = ReadingColumns(
        probes=tuple(names), time_ms=time_ms, column=column, raw=raw, flags=flags.astype(np.uint16)
    )
    return readings, tuple(names.values())


def _value(record: SenmlRecord, place: str, number: int, problems: Problems) -> float:
    if isinstance(record.content, bool):
        return float(record.content)
    if record.value is None:
        return np.nan
    scales = _SCALES[place]
    if record.unit is None:
        problems.note(f"no unit for {place}, read as {next(iter(scales))}")
        return record.value
    if record.unit not in scales:
        raise problems.refusal(
            f"unit {shown(record.unit)} for {shown(record.name)}",
            expected=f"one of {', '.join(scales)}",
            column=f"u of record {number}",
        )
    factor, offset = scales[record.unit]
    return record.value * factor + offset
