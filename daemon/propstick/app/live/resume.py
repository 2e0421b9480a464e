"""The engine's state as it was when the last row was committed.

A checkpoint of the learnt state is an hour old at most; the rows and news since then are run again
through the same `advance`. What they say was stored when they were lived, so it is dropped here.
"""

from __future__ import annotations

import logging

from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.engine import snapshot
from propstick.engine.pipeline import EngineState, advance, begin
from propstick.errors import StoreError
from propstick.garden import Garden
from propstick.grid import lay
from propstick.times import DAY_S

log = logging.getLogger(__name__)

RELEARN_S = 21 * DAY_S
"""How far back the readings are run through again when no checkpoint can be read."""


def resume(journal: Journal, readings: ReadingLog, garden: Garden, *, step_s: int) -> EngineState:
    """The state after the newest stored row; a fresh one for an empty store."""
    last_row_s = journal.last_row()
    if last_row_s is None:
        return begin(garden)
    state, from_s = _checkpointed(journal)
    if state is None:
        state, from_s = begin(garden), max(0, last_row_s - RELEARN_S) // step_s * step_s
    return rerun(state, journal, readings, from_s=from_s, to_s=last_row_s, step_s=step_s)


def rerun(
    state: EngineState,
    journal: Journal,
    readings: ReadingLog,
    *,
    from_s: int,
    to_s: int,
    step_s: int,
) -> EngineState:
    """Runs the stored rows after `from_s` up to `to_s` through the engine, a day at a time."""
    first_s = from_s + step_s
    while first_s <= to_s:
        last_s = min(to_s, first_s + DAY_S - step_s)
        # Readings of the row `first_s` may be up to two steps older (one that came after its row).
        columns = readings.columns((first_s - 2 * step_s) * 1000, last_s * 1000 + 1)
        rows = (last_s - first_s) // step_s + 1
        block = lay(columns, step_s=step_s, first_row_s=first_s, rows=rows)
        news = journal.news_between(first_s, last_s)
        state, _said_before = advance(state, block, news)
        first_s = last_s + step_s
    return state


def _checkpointed(journal: Journal) -> tuple[EngineState | None, int]:
    found = journal.load_checkpoint()
    if found is None:
        return None, 0
    row_s, data = found
    try:
        return snapshot.load(data), row_s
    except StoreError as error:
        log.warning("checkpoint-unreadable reason=%r", error.message)
        return None, 0
