"""A night as it was lived: stored rows and news through the engine again, from a state of before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from propstick.app.lived_night import garden_of_then
from propstick.app.replay import alarms_of, run
from propstick.app.replay_garden import with_settings
from propstick.app.replay_report import Report, observed_days, observed_nights
from propstick.edges.database import Store
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.engine import snapshot
from propstick.engine.nights import night_of
from propstick.engine.pipeline import EngineState, begin
from propstick.errors import InputError, StoreError
from propstick.garden import Garden
from propstick.grid import ReadingColumns
from propstick.records import CoverTold, GardenChanged, News
from propstick.times import DAY_S, row_at_or_before, utc_text

WARM_UP_S = 2 * DAY_S
"""Rows run through before the night where no state of then is kept."""


def night_from_store(store: Store, garden: Garden, night: date, *, settings: Sequence[str] = ()) -> Report:
    """The report of one night, from one hour before sunset to one hour after sunrise.

    Args:
        garden: As it is now; the night is replayed in the garden of then.
        settings: `[BOX.]KEY=VALUE` to try another limit on the same night.

    Raises:
        InputError: nothing is stored of that night.
    """
    journal, log = Journal(store, garden.site.name), ReadingLog(store, garden.site.name)
    tonight = night_of(garden.site, night)
    from_s = row_at_or_before(tonight.start_s, garden.step_s)
    to_s = row_at_or_before(tonight.end_s, garden.step_s)
    state, first_s = _state_before(journal, garden, from_s)
    state = replace(state, garden=with_settings(state.garden, settings))
    news = _with_settings(journal.news_between(first_s, to_s), settings)
    columns = log.columns((first_s - 2 * state.garden.step_s) * 1000, to_s * 1000 + 1)
    if not len(columns) or not (columns.time_ms >= from_s * 1000).any():
        raise InputError(
            f"--night {night.isoformat()}: got no reading from {utc_text(from_s)} to {utc_text(to_s)}",
            hint=_what_there_is(log),
        )
    if first_s < from_s:
        state, _, _ = run(
            state, columns, _until(news, from_s), from_s=first_s, to_s=from_s - state.garden.step_s
        )
    state, said, flagged = run(state, columns, _from(news, from_s), from_s=from_s, to_s=to_s)
    span = {"from_s": from_s, "to_s": to_s}
    flagged = _between(flagged, from_s, to_s)
    return Report(
        garden=state.garden,
        **span,
        alarms=alarms_of(said, state),
        notices=said.all("notices"),
        briefs=said.all("briefs"),
        heat=said.all("heat"),
        night_forecasts=said.all("nights"),
        day_forecasts=said.all("days"),
        nights=tuple(
            one
            for one in observed_nights(flagged, state.garden, **span, said=said.all("night_extremes"))
            if one.date == night
        ),
        days=observed_days(flagged, state.garden, **span, said=said.all("day_extremes")),
        lids=said.all("lids"),
        covers=tuple(item for item in news if isinstance(item, CoverTold)),
        readings=flagged,
        aside=_between(flagged, 1, 0),
    )


def _state_before(journal: Journal, garden: Garden, from_s: int) -> tuple[EngineState, int]:
    """The state kept last before the night and the row after it; a fresh one some days before, else."""
    found = journal.load_checkpoint(until_s=from_s - garden.step_s)
    if found is not None and found[0] >= from_s - 10 * WARM_UP_S:
        row_s, data = found
        try:
            return snapshot.load(data), row_s + garden.step_s
        except StoreError:
            pass  # another release wrote it: warm up instead
    first_s = row_at_or_before(from_s - WARM_UP_S, garden.step_s)
    return begin(garden_of_then(journal, garden, first_s)), first_s


def _with_settings(news: Sequence[News], settings: Sequence[str]) -> list[News]:
    if not settings:
        return list(news)
    return [
        replace(item, garden=with_settings(item.garden, settings))
        if isinstance(item, GardenChanged)
        else item
        for item in news
    ]


def _until(news: Sequence[News], time_s: int) -> list[News]:
    return [item for item in news if item.time_s < time_s]


def _from(news: Sequence[News], time_s: int) -> list[News]:
    return [item for item in news if item.time_s >= time_s]


def _between(columns: ReadingColumns, from_s: int, to_s: int) -> ReadingColumns:
    inside = (columns.time_ms >= from_s * 1000) & (columns.time_ms <= to_s * 1000)
    return ReadingColumns(
        probes=columns.probes,
        time_ms=columns.time_ms[inside],
        column=columns.column[inside],
        raw=columns.raw[inside],
        flags=columns.flags[inside],
    )


def _what_there_is(log: ReadingLog) -> str:
    span = log.span()
    if span is None:
        return "the store is empty; propstick import RECORDING fills it"
    return f"the store holds readings from {utc_text(span[0] / 1000)} to {utc_text(span[1] / 1000)}"
