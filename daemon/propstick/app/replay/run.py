"""A recording, or a stored night, through the same `advance()` as the watch, a day at a time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from propstick.app.recording import Recording
from propstick.app.replay.report import (
    Report,
    air_of,
    observed_days,
    observed_nights,
    rows_between,
)
from propstick.app.skill import skill_of
from propstick.blocks import FAULT_BITS, Block
from propstick.engine.pipeline import EngineState, advance, begin
from propstick.garden import Garden
from propstick.grid import ReadingColumns, lay, rows_of
from propstick.news import CoverTold, News
from propstick.records import Alarm, Outcome
from propstick.times import DAY_S
from propstick.units import FlagArray, IntArray


@dataclass
class Said:
    """Everything the engine said on the way."""

    alarms: dict[str, Alarm] = field(default_factory=dict)
    outcomes: list[Outcome] = field(default_factory=list)

    def add(self, outcome: Outcome) -> None:
        """Takes in a block's outcome; of an alarm the latest standing counts."""
        for change in outcome.changes:
            self.alarms[change.alarm.id] = change.alarm
        self.outcomes.append(replace(outcome, flags=None, changes=()))

    def all(self, name: str) -> tuple:
        """One kind of thing said, over all blocks in order."""
        return tuple(item for outcome in self.outcomes for item in getattr(outcome, name))


def replay(
    recording: Recording,
    garden: Garden,
    *,
    piece_s: int = DAY_S,
    progress: Callable[[int, int], None] | None = None,
) -> Report:
    """Runs a recording from its first row to its last.

    Args:
        garden: With the recording's columns as its probes (`garden.garden_of`).
        piece_s: Length of the pieces; whatever it is, the report is the same.
        progress: Told (rows done, rows in all) after each piece.
    """
    from_s, to_s = rows_between(recording, garden.step_s)
    state, said, readings = run(
        begin(garden),
        recording.columns,
        recording.covers,
        from_s=from_s,
        to_s=to_s,
        piece_s=piece_s,
        progress=progress,
    )
    report = report_of(said, state, readings, from_s=from_s, to_s=to_s, covers=recording.covers)
    return replace(
        report, aside=recording.cover_columns, untimed=recording.untimed, remarks=recording.remarks
    )


def state_before(recording: Recording, garden: Garden, row_s: int) -> EngineState:
    """The engine as it was before a row of the recording."""
    from_s, _ = rows_between(recording, garden.step_s)
    state, _, _ = run(
        begin(garden), recording.columns, recording.covers, from_s=from_s, to_s=row_s - garden.step_s
    )
    return state


def report_of(
    said: Said,
    state: EngineState,
    readings: ReadingColumns,
    *,
    from_s: int,
    to_s: int,
    covers: Sequence[CoverTold],
    night: date | None = None,
) -> Report:
    """The report of what was said from the row `from_s` to `to_s`, judged by what was measured.

    Args:
        readings: Of that stretch, with their final flags.
        night: The only night to report; None: every one the stretch touches.
    """
    garden, span = state.garden, {"from_s": from_s, "to_s": to_s}
    air = air_of(readings, garden)
    nights, days = observed_nights(air, garden, **span), observed_days(air, garden, **span)
    report = Report(
        garden=garden,
        **span,
        alarms=alarms_of(said, state),
        notices=said.all("notices"),
        briefs=said.all("briefs"),
        heat=said.all("heat"),
        night_forecasts=said.all("nights"),
        day_forecasts=said.all("days"),
        nights=tuple(one for one in nights if night in (None, one.date)),
        days=days,
        lids=said.all("lids"),
        covers=tuple(covers),
        readings=readings,
        aside=readings.taken(slice(0)),
    )
    skill = skill_of(
        garden,
        air,
        nights=report.night_forecasts,
        days=report.day_forecasts,
        heat=report.heat,
        alarms=report.alarms,
        lids=report.lids,
        observed_nights=nights,
        observed_days=days,
    )
    return replace(report, skill=skill)


def alarms_of(said: Said, state: EngineState) -> tuple[Alarm, ...]:
    """Every alarm that stood, by the time it was raised; those still open as they stand at the end."""
    latest = said.alarms | {alarm.id: alarm for alarm in state.open_alarms}
    return tuple(sorted(latest.values(), key=lambda alarm: (alarm.raised_s, alarm.id)))


def run(
    state: EngineState,
    readings: ReadingColumns,
    news: Sequence[News],
    *,
    from_s: int,
    to_s: int,
    piece_s: int = DAY_S,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[EngineState, Said, ReadingColumns]:
    """Feeds rows `from_s` to `to_s`, both included.

    Returns:
        The state after the last row, what was said, and the readings by time with the engine's flags.
    """
    step_s = state.garden.step_s
    readings = readings.taken(np.argsort(readings.time_ms, kind="stable"))
    row_s = rows_of(readings, step_s)
    order = np.argsort(row_s, kind="stable")
    readings, row_s = readings.taken(order), row_s[order]
    flags = readings.flags.copy()
    news = sorted(news, key=lambda item: item.time_s)
    said, start_s, told = Said(), from_s, 0
    while start_s <= to_s:
        boundary_s = (start_s // piece_s + 1) * piece_s
        stop_s = min(-(-boundary_s // step_s) * step_s, to_s + step_s)
        first, last = np.searchsorted(row_s, [start_s, stop_s])
        block, reading_of_cell = _laid(readings.taken(slice(first, last)), start_s, stop_s, step_s)
        told_until = told + sum(item.time_s < stop_s for item in news[told:])
        state, outcome = advance(state, block, news[told:told_until])
        _merge(flags[first:last], reading_of_cell, outcome.flags)
        said.add(outcome)
        told, start_s = told_until, stop_s
        if progress is not None:
            progress(start_s - from_s, to_s + step_s - from_s)
    return state, said, replace(readings, flags=flags)


def _laid(part: ReadingColumns, start_s: int, stop_s: int, step_s: int) -> tuple[Block, IntArray]:
    """The block of some readings, and which of them each cell shows (-1: none), shape (n, p)."""
    numbered = replace(part, raw=np.arange(len(part), dtype=np.float64))
    rows = (stop_s - start_s) // step_s
    block = lay(numbered, step_s=step_s, first_row_s=start_s, rows=rows)
    cell = np.where(np.isnan(block.values), -1.0, block.values).astype(np.int64)
    values = np.full(cell.shape, np.nan)
    shown = cell >= 0
    values[shown] = part.raw[cell[shown]]
    return replace(block, values=values), cell


def _merge(flags: FlagArray, reading_of_cell: IntArray, of_cells: FlagArray) -> None:
    """Puts the engine's verdict on each cell on the reading it came from."""
    shown = reading_of_cell >= 0
    flags[reading_of_cell[shown]] |= of_cells[shown] & np.uint16(FAULT_BITS)
