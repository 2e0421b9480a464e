"""A night as it was lived: stored rows and news through the engine again, from a state of before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from propstick.app.replay.garden import with_settings
from propstick.app.replay.lived_night import garden_of_then
from propstick.app.replay.report import Report
from propstick.app.replay.run import report_of, run
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.edges.store import Store
from propstick.engine import snapshot
from propstick.engine.nights import night_of
from propstick.engine.pipeline import EngineState, begin
from propstick.errors import InputError, StoreError
from propstick.garden import Garden
from propstick.grid import ReadingColumns
from propstick.news import CoverTold, GardenChanged, News
from propstick.times import DAY_S, row_at_or_before, row_of_reading, utc_text

WARM_UP_S = 7 * DAY_S
"""Rows run through before the night where no state of then is kept."""


def night_from_store(
    store: Store,
    garden: Garden,
    night: date,
    *,
    settings: Sequence[str] = (),
    since_s: int | None = None,
) -> Report:
    """The report of one night, from one hour before sunset to one hour after sunrise.

    Args:
        garden: As it is now; the night is replayed in the garden of then.
        settings: `[BOX.]KEY=VALUE` to try another limit on the same night.
        since_s: Begin here where that is earlier.

    Raises:
        InputError: nothing is stored of that night.
    """
    log = ReadingLog(store, garden.site.name)
    tonight = night_of(garden.site, night)
    from_s = row_at_or_before(min(tonight.start_s, since_s or tonight.start_s), garden.step_s)
    to_s = row_at_or_before(tonight.end_s, garden.step_s)
    span = log.span()
    if span is not None:  # before the first reading there was no silence to speak of
        from_s = max(from_s, min(row_of_reading(span[0], garden.step_s), to_s))
    past = _Past(Journal(store, garden.site.name), log, garden, settings)
    state = past.state_before(from_s)
    columns = past.columns(from_s, to_s)
    if not (columns.time_ms >= from_s * 1000).any():
        raise InputError(
            f"--night {night.isoformat()}: got no reading from {utc_text(from_s)} to {utc_text(to_s)}",
            hint=_what_there_is(log),
        )
    news = past.news(from_s, to_s)
    state, said, flagged = run(state, columns, news, from_s=from_s, to_s=to_s)
    return report_of(
        said,
        state,
        flagged.taken((flagged.time_ms >= from_s * 1000) & (flagged.time_ms <= to_s * 1000)),
        from_s=from_s,
        to_s=to_s,
        covers=[item for item in past.news(from_s - WARM_UP_S, to_s) if isinstance(item, CoverTold)],
        night=night,
    )


def state_before(store: Store, garden: Garden, row_s: int, *, settings: Sequence[str] = ()) -> EngineState:
    """The engine as it was before a stored row."""
    journal, log = Journal(store, garden.site.name), ReadingLog(store, garden.site.name)
    return _Past(journal, log, garden, settings).state_before(row_s)


@dataclass(frozen=True)
class _Past:
    """What is stored of a site's past, with the settings to try put in its gardens."""

    journal: Journal
    log: ReadingLog
    garden: Garden
    settings: Sequence[str]

    def state_before(self, row_s: int) -> EngineState:
        """From the newest kept state before the row, or a fresh one some days before."""
        state, first_s = self._kept_before(row_s)
        state = replace(state, garden=with_settings(state.garden, self.settings))
        last_s = row_s - self.garden.step_s
        if first_s <= last_s:
            news = self.news(first_s, last_s)
            state, _, _ = run(state, self.columns(first_s, last_s), news, from_s=first_s, to_s=last_s)
        return state

    def _kept_before(self, row_s: int) -> tuple[EngineState, int]:
        """A state of before the row, and the row that follows it."""
        step_s = self.garden.step_s
        found = self.journal.load_checkpoint(until_s=row_s - step_s)
        if found is not None and found[0] >= row_s - 2 * WARM_UP_S:
            try:
                return snapshot.load(found[1]), found[0] + step_s
            except StoreError:
                pass  # another release wrote it: warm up instead
        span = self.log.span()
        # Before the first reading there was no silence to speak of.
        first_ms = max((row_s - WARM_UP_S) * 1000, span[0] if span else 0)
        first_s = min(row_of_reading(first_ms, step_s), row_s)
        return begin(garden_of_then(self.journal, self.garden, first_s)), first_s

    def columns(self, first_s: int, last_s: int) -> ReadingColumns:
        """Readings of rows; one that came after its row may be two steps older."""
        return self.log.columns((first_s - 2 * self.garden.step_s) * 1000, last_s * 1000 + 1)

    def news(self, first_s: int, last_s: int) -> list[News]:
        """News of rows, both included."""
        return [_with_settings(item, self.settings) for item in self.journal.news_between(first_s, last_s)]


def _with_settings(item: News, settings: Sequence[str]) -> News:
    if not settings or not isinstance(item, GardenChanged):
        return item
    return replace(item, garden=with_settings(item.garden, settings))


def _what_there_is(log: ReadingLog) -> str:
    span = log.span()
    if span is None:
        return "the store is empty; propstick import RECORDING fills it"
    return f"the store holds readings from {utc_text(span[0] / 1000)} to {utc_text(span[1] / 1000)}"
