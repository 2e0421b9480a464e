"""Forecasts over a stretch of rows: the boxes' models run beside the readings, and asked when it is time.

The stretch is cut at the rows on which something is issued, so that every forecast rests on exactly the
rows up to its own, however the rows arrive. What is learnt is carried in one frozen state.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine import day as daily
from propstick.engine import horizon, issues, minute, prospects
from propstick.engine import night as nightly
from propstick.engine.briefs import BriefMemory
from propstick.engine.conditions import CLEAR
from propstick.engine.day import DayMaximum
from propstick.engine.forewarning import (
    Evidence,
    LooseMemory,
    conditions,
    fine_boxes,
    note_frost,
    note_heat,
    note_loose,
    read_every_s,
    seldom_read,
)
from propstick.engine.horizon import HorizonState
from propstick.engine.issued import day_records, heat_records, minima_said, night_records
from propstick.engine.layout import BoxLimits
from propstick.engine.lid_record import ToldLids, left_to_judge, openings_judged
from propstick.engine.minute import Minutes, MinuteState
from propstick.engine.observer import SUN_USED_W_M2
from propstick.engine.outlook import Outlook
from propstick.engine.paths import moments_of
from propstick.engine.schedule import Day
from propstick.garden import Box, Garden, Site
from propstick.records import DayForecast, HeatForecast, LidOpening, NightForecast
from propstick.units import BoolArray, FloatArray, IntArray

NOTHING = Outlook()
"""What a watch without forecasts foresees."""

DAMP_PCT, DAMP_S = 90.0, 48 * 3600
"""Damper than this for so long, and a box is to be aired. Common practice, no source."""
SURELY_UP = 0.3
LEARNING_NIGHTS = 3
"""Nights a box is watched before its lid is judged loose: it must be known how well it holds heat."""


@dataclass(frozen=True)
class ForesightState:
    """All that the forecasts remember.

    Attributes:
        boxes, site, step_s: What it was learnt for; anything else begins anew.
        dry_s: Last row on which each box's air was known to be dry, shape (b,).
        read_s: Last row on which each box's air was read, shape (b,).
        told: Lids as told.
        loose: When boxes were surely shut, and found loose.
        judged: Opening last put on record by estimate, NaN none, shape (b,).
    """

    boxes: tuple[Box, ...]
    site: Site
    step_s: int
    minute: MinuteState
    horizon: HorizonState
    dry_s: IntArray
    read_s: IntArray
    told: ToldLids
    loose: LooseMemory
    judged: FloatArray


@dataclass
class _Issued:
    """What the pieces of a stretch brought."""

    heat: list[HeatForecast] = field(default_factory=list)
    nights: list[NightForecast] = field(default_factory=list)
    days: list[DayForecast] = field(default_factory=list)
    lids: list[LidOpening] = field(default_factory=list)
    briefs: dict[int, tuple] = field(default_factory=dict)
    said_min_c: dict[int, dict[str, float]] = field(default_factory=dict)
    frost_rows: list[int] = field(default_factory=list)


def look(
    state: ForesightState | None, rows: PlaceRows, *, garden: Garden, day: Day, limits: BoxLimits,
    before_s: int, step_s: int, contacts: frozenset[str], sent: BriefMemory,
) -> tuple[ForesightState, Outlook]:  # fmt: skip
    """Takes in rows of one local date and foresees from them.

    Args:
        before_s: The row before the first.
        contacts: Boxes whose lid a contact shows.
        sent: Which briefs went out already.
    """
    state = _fitting(state, garden, step_s, before_s)
    if not garden.boxes:
        return _look_outside(state, rows, garden=garden, day=day, before_s=before_s)
    shown = rows.lid
    told, rows = left_to_judge(state.told, rows, garden=garden, contacts=contacts)
    on_word = ~np.isnan(shown) & np.isnan(rows.lid)
    state = replace(state, told=told)
    n, b = rows.air_c.shape
    site = garden.site
    night_rows = issues.night_rows(garden, day, rows.time_s, before_s)
    day_rows = issues.day_rows(garden, day, rows.time_s, before_s)
    frost_rows = issues.frost_rows(garden, day, rows.time_s, before_s)
    morning = issues.brief_rows("morning", day, rows.time_s, sent)
    evening = issues.brief_rows("evening", day, rows.time_s, sent)
    ends = issues.night_end_rows(garden, day, rows.time_s, before_s)
    heat = Evidence.of(n, b)
    frost = Evidence.of(n, b)
    loose = Evidence.of(n, b)
    issued = _Issued()
    fine, seldom = fine_boxes(garden), seldom_read(garden)
    dry_s = _dry_rows(state.dry_s, rows)
    read_s = np.where(rows.fresh, rows.time_s[:, None], np.int64(0))
    read_s = np.maximum(np.maximum.accumulate(read_s, axis=0), state.read_s)
    opening = np.full(b, np.nan)
    at_day = {*day_rows, *morning}
    at_night = {*night_rows, *evening, *frost_rows}
    first = 0
    # The minute model is cut only where its state is asked for; the night's forecasts need the slots alone.
    for last in sorted({*at_day, n - 1}):
        piece = rows.cut(first, last + 1)
        learnt, minutes = minute.follow(
            state.minute, piece, limit_c=limits.heat_c, boxes=garden.boxes, site=site,
            read_every_s=read_every_s(garden),
        )  # fmt: skip
        state = replace(state, minute=learnt)
        share = _sun_share(minutes, len(piece), b)
        note_heat(heat, minutes, first, rows=rows, garden=garden, fine=fine, read_s=read_s)
        issued.heat.extend(heat_records(minutes, garden))
        is_known = state.horizon.night.nights >= LEARNING_NIGHTS
        if is_known:
            memory = note_loose(loose, minutes, first, rows=rows, memory=state.loose, fine=fine)
            state = replace(state, loose=memory)
        judged, found = openings_judged(
            state.judged, minutes, garden, on_word=on_word[first : last + 1], is_known=is_known
        )
        state = replace(state, judged=judged)
        issued.lids.extend(found)
        begun = first
        for row in sorted({i for i in at_night if first <= i <= last} | {last}):
            part = slice(begun - first, row + 1 - first)
            following = horizon.advance(
                state.horizon, rows.cut(begun, row + 1), site=site, sun_share=share[part]
            )
            state = replace(state, horizon=following)
            begun = row + 1
            if row in at_night:
                tonight = horizon.night_minimum(state.horizon, site=site, stale=seldom)
                tonight = nightly.widened(tonight, _fits(minutes, row - first, b))
                if row in night_rows:
                    issued.nights.extend(night_records(tonight, garden, int(rows.time_s[row])))
                if row in frost_rows:
                    note_frost(frost, tonight, row, rows=rows, limits=limits)
                    issued.frost_rows.append(row)
                if row in evening:
                    seen = _seen(minutes, rows, row, first=first, dry_s=dry_s, state=state)
                    issued.briefs[row] = prospects.evening_lines(
                        garden, day, seen, rows=rows, limits=limits, tonight=tonight
                    )
                    issued.said_min_c[row] = minima_said(tonight, garden)
        if last in at_day:
            state, forecast = _day_forecast(state, minutes, site)
            forecast = daily.widened(forecast, _fits(minutes, last - first, b))
            issued.days.extend(day_records(forecast, garden, day, int(rows.time_s[last])))
            if last in morning:
                seen = _seen(minutes, rows, last, first=first, dry_s=dry_s, state=state)
                issued.briefs[last] = prospects.morning_lines(
                    garden, day, seen, rows=rows, limits=limits, forecast=forecast
                )
        if len(minutes.trace):
            opening = minutes.openings.opening[-1]
        first = last + 1
    for last in ends:
        frost.codes[last], frost.known[last] = CLEAR, True
    state = replace(state, dry_s=dry_s[-1].copy(), read_s=read_s[-1].copy())
    rules = conditions(garden, limits, rows, heat=heat, frost=frost, loose=loose)
    return state, Outlook(
        conditions=rules,
        heat=tuple(issued.heat),
        nights=tuple(issued.nights),
        days=tuple(issued.days),
        lids=tuple(issued.lids),
        briefs=issued.briefs,
        said_min_c=issued.said_min_c,
        frost_rows=tuple(issued.frost_rows),
        opening={box.name: float(opening[k]) for k, box in enumerate(garden.boxes)},
    )


def _bodies(boxes: tuple[Box, ...]) -> list[tuple]:
    """What of the boxes the learnt figures hang on; limits and spots may change freely."""
    return [(box.name, box.floor_m2, box.glazing, box.tilt_deg, box.faces_deg) for box in boxes]


def _look_outside(
    state: ForesightState, rows: PlaceRows, *, garden: Garden, day: Day, before_s: int
) -> tuple[ForesightState, Outlook]:
    """A site without boxes: the night of the open ground is all there is to foresee."""
    nights: list[NightForecast] = []
    due, seldom = issues.night_rows(garden, day, rows.time_s, before_s), seldom_read(garden)
    begun = 0
    for row in sorted({*due, len(rows) - 1}):
        following = horizon.advance(state.horizon, rows.cut(begun, row + 1), site=garden.site)
        state = replace(state, horizon=following)
        begun = row + 1
        if row in due:
            tonight = horizon.night_minimum(state.horizon, site=garden.site, stale=seldom)
            nights.extend(night_records(tonight, garden, int(rows.time_s[row])))
    return state, Outlook(nights=tuple(nights))


def _fitting(state: ForesightState | None, garden: Garden, step_s: int, before_s: int) -> ForesightState:
    """The state, begun anew where boxes, place or grid are not what it was learnt for."""
    if (
        state is not None
        and _bodies(state.boxes) == _bodies(garden.boxes)
        and state.step_s == step_s
        and (state.site.latitude, state.site.longitude, state.site.zone)
        == (garden.site.latitude, garden.site.longitude, garden.site.zone)
    ):
        return state
    b = len(garden.boxes)
    return ForesightState(
        boxes=garden.boxes,
        site=garden.site,
        step_s=step_s,
        minute=minute.begin(garden.boxes, step_s),
        horizon=horizon.start(b),
        dry_s=np.full(b, before_s, dtype=np.int64),
        read_s=np.zeros(b, dtype=np.int64),
        told=ToldLids.of(b, before_s),
        loose=LooseMemory.of(b),
        judged=np.full(b, np.nan),
    )


def _dry_rows(dry_s: IntArray, rows: PlaceRows) -> IntArray:
    """At each row, the last on which the air of each box was dry, or not known to be damp; (n, b)."""
    dry = ~(rows.humidity_pct > DAMP_PCT)
    at = np.where(dry, rows.time_s[:, None], np.int64(0))
    return np.maximum(np.maximum.accumulate(at, axis=0), dry_s)


def _sun_share(minutes: Minutes, n: int, b: int) -> FloatArray:
    share = np.full((n, b), np.nan)
    trace = minutes.trace
    if len(trace):
        sunny = (trace.clear_sky_w_m2 > SUN_USED_W_M2)[:, None] & (minutes.ceiling > 0.0)
        share[trace.index] = np.where(sunny, trace.sun / np.where(sunny, minutes.ceiling, 1.0), np.nan)
    return share


def _seen(
    minutes: Minutes, rows: PlaceRows, row: int, *, first: int, dry_s: IntArray, state: ForesightState
) -> prospects.Seen:
    """A row as a brief sees it; `first` is the row at which the minutes begin."""
    b = rows.air_c.shape[1]
    at = _minute_of(minutes, row - first)
    opening = np.full(b, np.nan) if at is None else minutes.openings.opening[at]
    # A guess counts where it says wide open; an inch up or shut it cannot tell.
    guess = np.where(opening >= SURELY_UP, opening, np.nan)
    return prospects.Seen(
        row=row,
        lid=np.where(np.isnan(rows.lid[row]), guess, rows.lid[row]),
        damp=(rows.time_s[row] - dry_s[row] >= DAMP_S) & ~np.isnan(rows.humidity_pct[row]),
        fits=_fits(minutes, row - first, b),
        untried=state.horizon.day.gain_weight.sum(axis=0) == 0.0,
    )


def _fits(minutes: Minutes, row: int, b: int) -> BoolArray:
    """Whether each box behaves as learnt, at a row counted from the first of these minutes."""
    at = _minute_of(minutes, row)
    return np.ones(b, dtype=bool) if at is None else minutes.trace.fits[at]


def _minute_of(minutes: Minutes, row: int) -> int | None:
    """Which row of the trace is the newest at that row; None before the first."""
    at = int(np.searchsorted(minutes.trace.index, row, side="right")) - 1
    return at if at >= 0 else None


# What is issued


def _day_forecast(state: ForesightState, minutes: Minutes, site: Site) -> tuple[ForesightState, DayMaximum]:
    trace = minutes.trace
    moment = None
    if len(trace) and site.has_sun and not np.isnan(trace.outside_c[-1]):
        moment = moments_of(trace, np.array([len(trace) - 1]))
    following, forecast = horizon.day_maximum(
        state.horizon, site=site, moment=moment, ceiling=state.minute.ceiling.level
    )
    return replace(state, horizon=following), forecast
