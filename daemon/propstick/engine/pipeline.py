"""`advance`: rows and news in, a new state and what should happen out. Nothing is done here.

A block is cut into spans: at the site's midnights, where limits may change, and at news. Within a span
garden, limits, lids as told and the calendar stand still, so its stages are plain array work. Rows that
no block brought are gone through as rows without readings.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import time, timedelta

import numpy as np

from propstick.blocks import Block
from propstick.engine import briefs, foresight, quality
from propstick.engine.board import Board
from propstick.engine.carry import median_of_good
from propstick.engine.due import Span
from propstick.engine.layout import columns_of, flags_of_block, layout_of, limits_on
from propstick.engine.places import places_of
from propstick.engine.probe_rules import probe_conditions
from propstick.engine.rules import box_conditions
from propstick.engine.schedule import day_of
from propstick.engine.soilwatch import watched
from propstick.engine.standing import Standing
from propstick.engine.state import EngineState
from propstick.engine.timeline import Timeline
from propstick.engine.trends import refit, rises, windows_s
from propstick.engine.upsets import look_for_upsets
from propstick.engine.views import boxes_now, lid_changes, lid_rows, on_their_way
from propstick.garden import OUTSIDE, SITE, Garden
from propstick.news import (
    Acknowledged,
    CoverTold,
    GardenChanged,
    LidTold,
    News,
    ServiceChanged,
    Shelved,
    Trouble,
)
from propstick.records import BoxNow, LidOpening, Outcome
from propstick.times import DAY_S, at_local, local_date, row_at_or_before
from propstick.units import FlagArray, FloatArray

__all__ = ["EngineState", "advance", "begin"]


def begin(garden: Garden, *, foresight: bool = True) -> EngineState:
    """The engine before its first row."""
    return EngineState(garden=garden, foresight=foresight)


def advance(state: EngineState, block: Block, news: Sequence[News] = ()) -> tuple[EngineState, Outcome]:
    """Takes in a block of rows and the news of that time.

    Args:
        block: Rows later than `state.row_s`; rows missing in between count as rows without readings.
        news: Takes effect at the first row not before its time; news older than the block, at its
            first row; what is later than its last row waits in the state.

    Returns:
        The state after the block, and what came of it. `flags` are for the block's own cells.
    """
    assert state.row_s is None or block.start_s > state.row_s, "rows come once, and in order"
    found = _Found()
    waiting = sorted([*state.waiting, *news], key=lambda item: item.time_s)
    for piece, is_gap in _pieces(state, block):
        first = 0
        while first < len(piece):
            time_s = piece.start_s + first * piece.step_s
            due = [item for item in waiting if item.time_s <= time_s]
            del waiting[: len(due)]
            due = _that_matter(state, due)
            last = _span_end(state, due, piece, first, waiting)
            state, flags = _advance_span(state, piece.cut(first, last), due, found)
            if not is_gap:
                found.flags.append(flags)
            first = last
    return replace(state, waiting=tuple(waiting)), found.outcome(block)


@dataclass
class _Found:
    """What the spans of a call found, in order."""

    flags: list[FlagArray] = field(default_factory=list)
    lists: dict[str, list] = field(default_factory=dict)
    now: tuple[BoxNow, ...] = ()

    def add(self, name: str, items: Sequence) -> None:
        if items:
            self.lists.setdefault(name, []).extend(items)

    def outcome(self, block: Block) -> Outcome:
        flags = np.concatenate(self.flags) if self.flags else block.flags
        return Outcome(
            flags=flags, now=self.now, **{name: tuple(items) for name, items in self.lists.items()}
        )


def _pieces(state: EngineState, block: Block) -> Iterator[tuple[Block, bool]]:
    """The rows nobody brought, in pieces of a day at most, then the block."""
    if state.row_s is not None:
        # On another grid than before, the missing rows are those of the new one.
        start_s = row_at_or_before(state.row_s, block.step_s) + block.step_s
        while start_s < block.start_s:
            rows = min((block.start_s - start_s) // block.step_s, DAY_S // block.step_s)
            empty = np.full((rows, 0), np.nan)
            yield Block(start_s, block.step_s, (), empty, np.zeros(empty.shape, dtype=np.uint16)), True
            start_s += rows * block.step_s
    yield block, False


def _that_matter(state: EngineState, news: Sequence[News]) -> list[News]:
    """Without the watch's repetitions of what it reported before."""
    troubles = set(state.troubles)
    kept: list[News] = []
    for item in news:
        if isinstance(item, Trouble):
            if item.active == (item.kind in troubles):
                continue
            troubles.symmetric_difference_update({item.kind})
        kept.append(item)
    return kept


def _span_end(state: EngineState, due: Sequence[News], piece: Block, first: int, waiting: list[News]) -> int:
    """Index of the row after the span that begins at `first`: midnight, news, or the piece's end."""
    garden = next((item.garden for item in reversed(due) if isinstance(item, GardenChanged)), state.garden)
    zone = garden.site.zone
    time_s = piece.start_s + first * piece.step_s
    midnight_s = _next_midnight_s(time_s, zone)
    ends = [midnight_s]
    told = set(state.troubles) ^ {item.kind for item in due if isinstance(item, Trouble)}
    while waiting:
        item = waiting[0]
        if isinstance(item, Trouble) and item.active == (item.kind in told):
            del waiting[0]
            continue
        ends.append(item.time_s)
        break
    rows = -(-(min(ends) - piece.start_s) // piece.step_s)
    return int(min(len(piece), max(first + 1, rows)))


def _next_midnight_s(time_s: int, zone: str | None) -> int:
    return at_local(local_date(time_s, zone) + timedelta(days=1), time(0), zone)


def _advance_span(
    state: EngineState, block: Block, news: Sequence[News], found: _Found
) -> tuple[EngineState, FlagArray]:
    before_s = block.start_s - block.step_s if state.row_s is None else state.row_s
    state = _told(state, news, block.start_s, found)
    garden = state.garden
    layout = layout_of(garden)
    boxes = garden.box_names
    day = day_of(garden, local_date(block.start_s, garden.site.zone))
    limits = limits_on(garden, day.date)
    time_s = block.time_s

    raw, flags_in = columns_of(block, layout)
    lit_s = np.where((time_s >= day.sun.rise_s) & (time_s < day.sun.set_s), block.step_s, 0).astype(np.int64)
    memory = state.probes.at(layout.ids, since_s=before_s)
    probes, checked = quality.check(
        memory, raw, flags=flags_in, time_s=time_s, lit_s=lit_s, layout=layout, sun_known=day.sun.known
    )
    told_lid, told_cover = _of_boxes(state.lid_told, boxes), _of_boxes(state.cover_told, boxes)
    rows = places_of(
        checked, layout=layout, boxes=boxes, time_s=time_s, lid_told=told_lid, cover_told=told_cover
    )
    trend_memory = refit(state.trends, layout, boxes, step_s=block.step_s)
    trend_memory, trends = rises(trend_memory, rows, windows=windows_s(layout, boxes, block.step_s))
    soil = watched(state.soil, rows, garden=garden, day=day.date)
    outlook, ahead = foresight.NOTHING, state.ahead
    upset_watch, upsets = state.upsets, None
    if state.foresight:
        upset_watch, upsets = look_for_upsets(state.upsets, rows, boxes=boxes, day=day, step_s=block.step_s)
        rows = replace(rows, doubted=upsets.any)
        contacts = frozenset(box for box, place in layout.columns if place == "lid")
        ahead, outlook = foresight.look(
            state.ahead, rows, garden=garden, day=day, limits=limits, before_s=before_s, step_s=block.step_s,
            contacts=contacts, sent=state.briefs,
        )  # fmt: skip
    conditions = [
        *box_conditions(garden, limits=limits, rows=rows, trends=trends, soil=soil),
        *probe_conditions(garden, layout=layout, checked=checked, time_s=time_s, soil=soil, upsets=upsets),
        *outlook.conditions,
    ]

    def views(i: int) -> Mapping[str, briefs.BoxView]:
        return {
            name: briefs.BoxView(
                float(rows.air_c[i, b]), float(rows.lid[i, b]), float(rows.cover[i, b]), limits.of[b],
                bool(limits.known_empty[b]),
            )
            for b, name in enumerate(boxes)
        }  # fmt: skip

    def last_air_c(i: int, box: str) -> float:
        columns = layout.columns[box, "air"]
        return float(median_of_good(checked.last_c[i : i + 1, columns])[0])

    state, lids = lid_changes(state, garden, layout, rows)
    span = Span(
        garden=garden, day=day, time_s=time_s, step_s=block.step_s, before_s=before_s,
        conditions=conditions, outlook=outlook, views=views,
        outside_c=lambda i: float(rows.outside_air_c[i]),
        soon=lambda i: on_their_way(i, boxes, rows, trends, limits.heat_c, limits.known_empty),
        last_air_c=last_air_c, lid_rows=lid_rows(rows),
    )  # fmt: skip
    board = Board(garden, state.standings, state.out)
    line = Timeline(span, board, state.codes, desk=state.desk, sent=state.briefs)
    state = _heed(state, line, news, block.start_s)
    line.run()

    found.add("changes", board.changes)
    found.add("notices", line.notices)
    found.add("briefs", line.briefs)
    found.add("lids", (*lids, *outlook.lids))
    for name in ("heat", "nights", "days"):
        found.add(name, getattr(outlook, name))
    state = replace(
        state,
        step_s=block.step_s,
        row_s=int(time_s[-1]),
        probes=probes,
        trends=trend_memory,
        soil=soil,
        upsets=upset_watch,
        ahead=ahead,
        codes=line.evidence.codes,
        standings=board.standings,
        out=board.out,
        desk=line.desk,
        briefs=line.sent,
    )
    found.now = boxes_now(garden, state, rows, trends, limits=limits, judged=outlook.opening, upsets=upsets)
    return state, flags_of_block(block, layout, checked.flags)


def _told(state: EngineState, news: Sequence[News], time_s: int, found: _Found) -> EngineState:
    """What news changes before the row is looked at: the garden, lids and covers as told."""
    for item in news:
        if isinstance(item, GardenChanged):
            state = replace(state, garden=item.garden)
        elif isinstance(item, LidTold):
            others = {box: lid for box, lid in state.lid_told.items() if box != item.box}
            told = {} if item.opening is None else {item.box: item.opening}
            state = replace(state, lid_told={**others, **told})
            if item.opening is not None:
                lid = LidOpening(box=item.box, time_s=time_s, opening=item.opening, known_from="told")
                state = replace(state, lids={**state.lids, item.box: lid})
                found.add("lids", (lid,))
        elif isinstance(item, CoverTold):
            state = replace(state, cover_told={**state.cover_told, item.box: float(item.on)})
    return state


def _heed(state: EngineState, line: Timeline, news: Sequence[News], time_s: int) -> EngineState:
    """What news does to alarms, at the first row of the span."""
    for item in news:
        if isinstance(item, GardenChanged):
            boxes = {*item.garden.box_names, OUTSIDE, SITE}
            seats = {(p.id, p.box, p.place) for p in item.garden.probes}
            line.board.drop(lambda s, boxes=boxes, seats=seats: _remains(s, boxes, seats), time_s)
        elif isinstance(item, Acknowledged):
            line.board.acknowledge(item.alarm_id, time_s)
        elif isinstance(item, Shelved):
            line.board.shelve(item.alarm_id, item.until_s, time_s)
        elif isinstance(item, ServiceChanged):
            line.board.serve(item.box, item.in_service, time_s)
        elif isinstance(item, Trouble):
            line.report(item.kind, item.active, item.detail, time_s)
            troubles = state.troubles | {item.kind} if item.active else state.troubles - {item.kind}
            state = replace(state, troubles=troubles)
    return state


def _remains(standing: Standing, boxes: set[str], seats: set[tuple[str, str, str | None]]) -> bool:
    subject = standing.subject
    if subject.probe is not None:
        return (subject.probe, subject.box, subject.place) in seats
    return subject.box in boxes


def _of_boxes(told: Mapping[str, float], boxes: tuple[str, ...]) -> FloatArray:
    return np.array([told.get(name, np.nan) for name in boxes], dtype=np.float64)
