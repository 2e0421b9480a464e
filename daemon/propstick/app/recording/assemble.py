"""From parsed cells or records to a `Recording`: probes, covers, flags, steps."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.app.recording.judge import judged
from propstick.app.recording.names import COVER, ColumnName
from propstick.app.recording.problems import Problems
from propstick.blocks import FAULT_BITS, Flag
from propstick.garden import OUTSIDE, Probe
from propstick.grid import ReadingColumns
from propstick.news import CoverTold
from propstick.times import DAY_S, EARLIEST_S, row_of_reading
from propstick.units import Unit, c_from_f

WARM_PLACES = ("air", "soil")
WARMEST_MIDDLE_C = 36.0
"""No air of box or ground lies above it for half of a whole day and longer. Our choice, no source."""
LONGEST_S = 15 * 366 * DAY_S


@dataclass(frozen=True)
class Recording:
    """A table of readings outside the database, read and judged.

    Attributes:
        name: What messages call it.
        columns: Readings in arrival order; a probe's id is its column's name. °C, %, 0–1.
        probes: One per column of `columns`, with the recording's own step where it is slower than the grid.
        covers: Blanket put on or taken off, on change.
        cover_columns: The cells `covers` came from.
        untimed: Cells of rows whose time could not be read.
        remarks: What was read in an unusual way, in words.
    """

    name: str
    columns: ReadingColumns
    probes: tuple[Probe, ...]
    covers: tuple[CoverTold, ...]
    cover_columns: ReadingColumns
    untimed: int
    remarks: tuple[str, ...]

    @property
    def boxes(self) -> tuple[str, ...]:
        """Every box a column names, in the order of the columns."""
        named = [p.box for p in self.probes] + [c.partition(".")[0] for c in self.cover_columns.probes]
        return tuple(dict.fromkeys(box for box in named if box != OUTSIDE))

    @property
    def cells(self) -> int:
        """Cells that held anything."""
        return len(self.columns) + len(self.cover_columns) + self.untimed

    def span_ms(self) -> tuple[int, int]:
        """First and last believable time."""
        times = np.concatenate(
            [c.time_ms[(c.flags & int(Flag.CLOCK)) == 0] for c in (self.columns, self.cover_columns)]
        )
        return int(times.min()), int(times.max())


def recording_of(
    readings: ReadingColumns,
    names: tuple[ColumnName, ...],
    *,
    units: tuple[Unit, ...],
    step_s: int,
    in_order: bool,
    untimed: int,
    problems: Problems,
) -> Recording:
    """The recording of parsed readings. `readings.flags` holds the parser's flags (`CLOCK`, `NOT_A_NUMBER`).

    Args:
        units: Of each column, if it is air or soil, as written.
        in_order: Whether the order of the readings is the order in which they were made.

    Raises:
        InputError: no believable time, or a stretch longer than fifteen years.
    """
    raw = readings.raw
    in_f = [unit == "F" and name.place in WARM_PLACES for unit, name in zip(units, names, strict=True)]
    if any(in_f):
        raw = np.where(np.array(in_f, dtype=bool)[readings.column], c_from_f(raw), raw)
    flags = judged(
        readings.time_ms,
        readings.column,
        raw=raw,
        flags=readings.flags,
        places=tuple(name.place for name in names),
        step_s=step_s,
        in_order=in_order,
    )
    whole = replace(readings, raw=raw, flags=flags)
    believed = readings.time_ms[(flags & int(Flag.CLOCK)) == 0]
    if believed.size and believed.max() < EARLIEST_S * 1000:
        problems.note("times before 2000, taken as an old recording")
    _doubt_unit(names, units, whole, problems)
    _doubt_lids(names, whole, problems)
    of_cover = [k for k, name in enumerate(names) if name.place == COVER]
    of_probe = [k for k, name in enumerate(names) if name.place != COVER]
    columns, cover_columns = _only(whole, of_probe), _only(whole, of_cover)
    recording = Recording(
        name=problems.name,
        columns=columns,
        probes=tuple(_probe(names[k], columns, at, step_s) for at, k in enumerate(of_probe)),
        covers=_covers(cover_columns, step_s),
        cover_columns=cover_columns,
        untimed=untimed,
        remarks=problems.remarks,
    )
    _check_span(recording, problems)
    return recording


def _doubt_unit(
    names: tuple[ColumnName, ...], units: tuple[Unit, ...], readings: ReadingColumns, problems: Problems
) -> None:
    """Says so where figures taken for °C are those of °F by all likelihood: nothing else would show it."""
    in_c = [unit == "C" and name.place == "air" for unit, name in zip(units, names, strict=True)]
    good = (readings.flags & FAULT_BITS) == 0
    mine = good & np.array(in_c, dtype=bool)[readings.column]
    air_c, time_ms = readings.raw[mine], readings.time_ms[mine]
    if not air_c.size or np.ptp(time_ms) < 0.9 * DAY_S * 1000:
        return
    if float(np.median(air_c)) > WARMEST_MIDDLE_C:
        problems.note(f"air read as °C, half of it above {np.median(air_c):.0f}: if it is °F, say --unit F")


def _doubt_lids(names: tuple[ColumnName, ...], readings: ReadingColumns, problems: Problems) -> None:
    """Says so where a lid is written in percent: what is out of range is left out, and it counts as shut."""
    for k, name in enumerate(names):
        if name.place == "lid":
            above = readings.raw[(readings.column == k) & (readings.raw > 1.0)]
            if above.size and float(above.max()) <= 100.0:
                problems.note(
                    f"{name.text} goes to {above.max():g}: a lid is 0 (shut) to 1 (open), not percent"
                )


def _only(readings: ReadingColumns, columns: list[int]) -> ReadingColumns:
    if columns == list(range(len(readings.probes))):
        return readings
    new_place = np.full(len(readings.probes), -1, dtype=np.int32)
    new_place[columns] = np.arange(len(columns), dtype=np.int32)
    kept = new_place[readings.column] >= 0
    mine = readings.taken(kept)
    return replace(mine, probes=tuple(readings.probes[k] for k in columns), column=new_place[mine.column])


def _probe(name: ColumnName, columns: ReadingColumns, column: int, step_s: int) -> Probe:
    every_s = _every_s(columns, column, step_s)
    return Probe(id=name.text, box=name.box, place=name.place, every_s=every_s)  # type: ignore[arg-type]


def _every_s(columns: ReadingColumns, column: int, step_s: int) -> float | None:
    """The step that nine in ten of its readings keep, where it is longer than the grid's.

    Not the median: a logger that skips every other time for weeks is slow, not silent.
    """
    mine = (columns.column == column) & ((columns.flags & FAULT_BITS) == 0)
    steps = np.diff(np.sort(columns.time_ms[mine]))
    if not steps.size:
        return None
    every_s = float(np.percentile(steps, 90, method="lower")) / 1000
    return every_s if every_s > step_s else None


def _covers(columns: ReadingColumns, step_s: int) -> tuple[CoverTold, ...]:
    told: list[CoverTold] = []
    good = (columns.flags & FAULT_BITS) == 0
    for k, name in enumerate(columns.probes):
        mine = np.flatnonzero(good & (columns.column == k))
        mine = mine[np.argsort(columns.time_ms[mine], kind="stable")]
        on = columns.raw[mine] >= 0.5
        for at in np.flatnonzero(np.diff(on, prepend=not on[0]) if mine.size else on):
            row_s = row_of_reading(int(columns.time_ms[mine[at]]), step_s)
            told.append(CoverTold(time_s=row_s, box=name.partition(".")[0], on=bool(on[at])))
    return tuple(sorted(told, key=lambda t: t.time_s))


def _check_span(recording: Recording, problems: Problems) -> None:
    try:
        first_ms, last_ms = recording.span_ms()
    except ValueError:  # nothing left to take a least value of
        if recording.cells:
            raise problems.refusal("no believable time", expected="times after 2000", column="time") from None
        raise problems.refusal("no reading in any cell", expected="at least one", column="2") from None
    if (last_ms - first_ms) / 1000 > LONGEST_S:
        years = (last_ms - first_ms) / 1000 / 365.25 / DAY_S
        raise problems.refusal(
            f"times {years:.0f} years apart", expected="at most 15 years in one recording", column="time"
        )
