"""The store's readings and alarms for any other program: recording CSV, SenML (RFC 8428), JSON.

Written as they are read, a day at a time: a season needs no more memory than a day.
"""

from __future__ import annotations

import csv
import json
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TextIO

import numpy as np

from propstick.blocks import Flag
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.garden import Garden
from propstick.grid import ReadingColumns
from propstick.news import CoverTold, LidTold, News
from propstick.times import utc_text

SENML_UNITS = {"air": "Cel", "soil": "Cel", "humidity": "%RH", "moisture": "%", "lid": "/"}
"""Units of the registry of RFC 8428, section 12.1, by place."""

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Exported:
    """What went out.

    Attributes:
        readings: How many values.
        left_out: Probes in no box of the garden now, nor outside, so that their column has no name.
    """

    readings: int
    left_out: tuple[str, ...]


def column_names(garden: Garden) -> dict[str, str]:
    """Probe id → column of a recording: `<box>.<place>`, with the probe where a place has several.

    A loose probe has no column: a replay would take its spot for a box, and warn of it.
    """
    names = {}
    for probe in (one for one in garden.probes if not one.is_loose):
        alone = len(garden.probes_at(probe.box, probe.place)) == 1
        column = f"{probe.box}.{probe.place}"
        names[probe.id] = column if alone else f"{column}.{_as_name(probe.id)}"
    return names


def write_csv(
    log: ReadingLog,
    out: TextIO,
    *,
    names: Mapping[str, str],
    from_ms: int,
    to_ms: int,
    told: Sequence[News] = (),
    progress: Progress | None = None,
) -> Exported:
    """A recording: raw values [°C, %, 0–1] as sensed, uncorrected, one line per moment of reading.

    What a person told of lids and covers (`told`) stands in columns of its own, in every line from
    then on. Readings taken with an unset clock are left out: their line would be in the wrong place.
    """
    left_out = tuple(sorted(set(log.probes()) - set(names)))
    probes = [probe for probe in names if probe in log.probes()]
    lids = _told(told, LidTold, lambda item: item.opening)
    covers = _told(told, CoverTold, lambda item: float(item.on))
    writer = csv.writer(out, lineterminator="\n")
    header = ["time", *(names[p] for p in probes)]
    extra = [(f"{box}.lid", changes) for box, changes in lids.items() if f"{box}.lid" not in header]
    extra += [(f"{box}.cover", changes) for box, changes in covers.items()]
    writer.writerow([*header, *(name for name, _ in extra)])
    count = 0
    for columns in _pieces(log, probes, from_ms, to_ms, progress):
        times, row_of = np.unique(columns.time_ms, return_inverse=True)
        table = np.full((len(times), len(probes)), np.nan)
        table[row_of, columns.column] = columns.raw
        count += int(np.count_nonzero(~np.isnan(table)))
        for time_ms, values in zip(times.tolist(), table.tolist(), strict=True):
            more = [_value_at(changes, time_ms) for _, changes in extra]
            writer.writerow([_time_text(time_ms), *("" if v != v else repr(v) for v in values), *more])
    return Exported(count, left_out)


def write_senml(
    log: ReadingLog,
    out: TextIO,
    *,
    names: Mapping[str, str],
    from_ms: int,
    to_ms: int,
    progress: Progress | None = None,
) -> Exported:
    """One SenML pack: a JSON array with a record a line, absolute times, raw values as sensed."""
    left_out = tuple(sorted(set(log.probes()) - set(names)))
    probes = [probe for probe in names if probe in log.probes()]
    heads = [{"n": names[p], "u": SENML_UNITS[names[p].split(".")[1]]} for p in probes]
    count = 0
    out.write("[")
    for columns in _pieces(log, probes, from_ms, to_ms, progress):
        for time_ms, column, value in zip(
            columns.time_ms.tolist(), columns.column.tolist(), columns.raw.tolist(), strict=True
        ):
            if value == value:
                record = {**heads[column], "t": _seconds(time_ms), "v": value}
                out.write((",\n" if count else "\n") + json.dumps(record))
                count += 1
    out.write("\n]\n")
    return Exported(count, left_out)


def write_alarms(journal: Journal, out: TextIO, *, from_s: int, to_s: int) -> int:
    """The alarm objects of the external contract as a JSON array, one a line; returns how many."""
    alarms = journal.alarms(from_s, to_s)
    lines = ",\n".join(json.dumps(alarm, ensure_ascii=False) for alarm in alarms)
    out.write(f"[\n{lines}\n]\n" if alarms else "[]\n")
    return len(alarms)


def _pieces(
    log: ReadingLog, probes: Sequence[str], from_ms: int, to_ms: int, progress: Progress | None
) -> Iterator[ReadingColumns]:
    """The days of the export without what a clock that was not set has stamped."""
    for columns in log.days(from_ms, to_ms, probes=probes):
        timed = (columns.flags & int(Flag.CLOCK)) == 0
        if len(columns):
            yield columns.taken(timed)
            if progress is not None:
                progress(int(columns.time_ms[-1]) - from_ms, to_ms - from_ms)


Changes = tuple[list[int], list[float | None]]
"""Times [ms] at which something told took effect, and what it was from then on."""


def _told(news: Sequence[News], kind: type, value: Callable[[Any], float | None]) -> dict[str, Changes]:
    found: dict[str, Changes] = {}
    for item in sorted((n for n in news if isinstance(n, kind)), key=lambda n: n.time_s):
        times, values = found.setdefault(item.box, ([], []))
        times.append(item.time_s * 1000)
        values.append(value(item))
    return found


def _value_at(changes: Changes, time_ms: int) -> str:
    times, values = changes
    k = bisect_right(times, time_ms) - 1
    return "" if k < 0 or values[k] is None else f"{values[k]:g}"


def _as_name(probe: str) -> str:
    """A probe's id without the signs that a column's name may not hold."""
    return "".join(sign if sign.isalnum() or sign in "-_" else "-" for sign in probe)


def _seconds(time_ms: int) -> int | float:
    return time_ms // 1000 if time_ms % 1000 == 0 else time_ms / 1000


def _time_text(time_ms: int) -> str:
    whole = utc_text(time_ms // 1000)
    return whole if time_ms % 1000 == 0 else f"{whole[:-1]}.{time_ms % 1000:03d}Z"
