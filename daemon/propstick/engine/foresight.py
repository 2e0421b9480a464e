"""Forecasts over a stretch of rows: the boxes' models run beside the readings, and asked when it is time.

The stretch is cut at the rows on which something is issued, so that every forecast rests on exactly the
rows up to its own, however the rows arrive. What is learnt is carried in one frozen state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine import horizon, issues, minute, prospects
from propstick.engine.advice import FROST_CHANCE
from propstick.engine.briefs import BriefMemory
from propstick.engine.conditions import ALARM, BETWEEN, CLEAR, UNKNOWN, Condition, Subject
from propstick.engine.day import DayMaximum
from propstick.engine.heat_ahead import ISSUE_EVERY_S, RAISE_AT
from propstick.engine.horizon import HorizonState
from propstick.engine.kinds import KINDS
from propstick.engine.layout import BoxLimits
from propstick.engine.minute import Minutes, MinuteState
from propstick.engine.night import NightMinimum
from propstick.engine.nights import night_ending_after
from propstick.engine.observer import SUN_USED_W_M2
from propstick.engine.opening import OPENINGS
from propstick.engine.outlook import Outlook
from propstick.engine.paths import moments_of
from propstick.engine.schedule import Day
from propstick.garden import OUTSIDE, Box, Garden, Site
from propstick.records import AlarmKind, DayForecast, HeatForecast, LidOpening, NightForecast
from propstick.units import BoolArray, FloatArray, IntArray

NOTHING = Outlook()
"""What a watch without forecasts foresees."""

LIDS = ("closed", "propped", "open", "as-is")
FROST_C = 0.0
"""`p_frost` is the chance of frost itself: 0 °C or lower (Michigan State University Extension)."""
DAMP_PCT, DAMP_S = 90.0, 48 * 3600
"""Damper than this for so long, and a box is to be aired. Common practice, no source."""
SURE_OF_LID = 0.9
"""Probability from which an estimated opening is put on record."""
TOLD_HOLDS_S = 3600
"""A lid told shut is taken at its word so long after dark; then wind may have had it, and it is judged."""
SURELY_UP = 0.3
WIDE_OPEN = 0.9
LEARNING_NIGHTS = 3
"""Nights a box is watched before its lid is judged loose: it must be known how well it holds heat."""
SURELY_SHUT = 0.9
SHUT_COUNTS_S = 10 * 3600
EPISODE_S, ONE_NIGHT_S = 1800, 14 * 3600
FINE_S = 600.0
"""Readings farther apart than this do not show a lid; what they show is the weather."""
RAISE_COARSE_AT = 0.5
HEAT_ENDS = 0.4
"""A heat forecast is withdrawn under this share of the chance that raises it."""
MARGIN_MIN = 10.0
"""The horizon of a warning: the person's reaction time and so much more."""


@dataclass(frozen=True)
class ForesightState:
    """All that the forecasts remember.

    Attributes:
        boxes, site, step_s: What it was learnt for; anything else begins anew.
        dry_s: Last row on which each box's air was known to be dry, shape (b,).
        read_s: Last row on which each box's air was read, shape (b,).
        lid_s: Row of the last change of each lid as told, shape (b,); its value in `lid_was`.
        shut_s, loose_s: Last row by night on which each box was surely shut, and was found loose, shape (b,).
        judged: Opening last put on record by estimate, NaN none, shape (b,).
    """

    boxes: tuple[Box, ...]
    site: Site
    step_s: int
    minute: MinuteState
    horizon: HorizonState
    dry_s: IntArray
    read_s: IntArray
    lid_s: IntArray
    lid_was: FloatArray
    shut_s: IntArray
    loose_s: IntArray
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
    if not garden.boxes:
        return _fitting(state, garden, step_s, before_s), NOTHING
    state = _fitting(state, garden, step_s, before_s)
    state, rows = _with_lids_judged(state, rows, garden, contacts)
    n, b = rows.air_c.shape
    site = garden.site
    night_rows = issues.night_rows(garden, day, rows.time_s, before_s)
    day_rows = issues.day_rows(garden, day, rows.time_s, before_s)
    frost_rows = issues.frost_rows(garden, day, rows.time_s, before_s)
    morning = issues.brief_rows("morning", day, rows.time_s, sent)
    evening = issues.brief_rows("evening", day, rows.time_s, sent)
    ends = issues.night_end_rows(garden, day, rows.time_s, before_s)
    heat = _Blank.of(n, b)
    frost = _Blank.of(n, b)
    loose = _Blank.of(n, b)
    issued = _Issued()
    fine = _fine(garden)
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
            state.minute, piece, limit_c=limits.heat_c, boxes=garden.boxes, site=site
        )
        state = replace(state, minute=learnt)
        share = _sun_share(minutes, len(piece), b)
        _note_heat(heat, minutes, first, rows, garden, issued, fine, read_s)
        state = _note_loose(loose, minutes, first, rows, state, fine)
        judged, found = _openings_judged(state.judged, minutes, garden)
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
                tonight = horizon.night_minimum(state.horizon, site=site)
                if row in night_rows:
                    issued.nights.extend(_night_records(tonight, garden, int(rows.time_s[row])))
                if row in frost_rows:
                    _note_frost(frost, tonight, row, rows, limits)
                if row in evening:
                    seen = _seen(minutes, rows, row, first=first, dry_s=dry_s)
                    issued.briefs[row] = prospects.evening_lines(
                        garden, day, seen, rows=rows, limits=limits, tonight=tonight
                    )
                    issued.said_min_c[row] = _said(tonight, garden)
        if last in at_day:
            state, forecast = _day_forecast(state, minutes, site)
            issued.days.extend(_day_records(forecast, garden, day, int(rows.time_s[last])))
            if last in morning:
                seen = _seen(minutes, rows, last, first=first, dry_s=dry_s)
                issued.briefs[last] = prospects.morning_lines(
                    garden, day, seen, rows=rows, limits=limits, forecast=forecast
                )
        if len(minutes.trace):
            opening = minutes.openings.opening[-1]
        first = last + 1
    for last in ends:
        frost.codes[last], frost.known[last] = CLEAR, True
    state = replace(state, dry_s=dry_s[-1].copy(), read_s=read_s[-1].copy())
    conditions = _conditions(garden, limits, rows, heat=heat, frost=frost, loose=loose)
    return state, Outlook(
        conditions=conditions,
        heat=tuple(issued.heat),
        nights=tuple(issued.nights),
        days=tuple(issued.days),
        lids=tuple(issued.lids),
        briefs=issued.briefs,
        said_min_c=issued.said_min_c,
        opening={box.name: float(opening[k]) for k, box in enumerate(garden.boxes)},
    )


def _fitting(state: ForesightState | None, garden: Garden, step_s: int, before_s: int) -> ForesightState:
    """The state, begun anew where boxes, place or grid are not what it was learnt for."""
    if (
        state is not None
        and state.boxes == garden.boxes
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
        lid_s=np.full(b, before_s, dtype=np.int64),
        lid_was=np.full(b, np.nan),
        shut_s=np.zeros(b, dtype=np.int64),
        loose_s=np.zeros(b, dtype=np.int64),
        judged=np.full(b, np.nan),
    )


@dataclass
class _Blank:
    """A rule's evidence on the rows of a stretch, filled in where there is any."""

    codes: np.ndarray
    known: BoolArray
    value_c: FloatArray
    chance: FloatArray
    eta_s: FloatArray
    eta_low_s: FloatArray
    eta_high_s: FloatArray

    @staticmethod
    def of(n: int, b: int) -> _Blank:
        def nans() -> FloatArray:
            return np.full((n, b), np.nan)

        codes, known = np.full((n, b), UNKNOWN, dtype=np.int8), np.zeros((n, b), dtype=bool)
        return _Blank(codes, known, nans(), nans(), nans(), nans(), nans())


def _with_lids_judged(
    state: ForesightState, rows: PlaceRows, garden: Garden, contacts: frozenset[str]
) -> tuple[ForesightState, PlaceRows]:
    """The rows with lids that were told shut long before unknown by night, so that they are judged.

    Nobody tells the watch that the wind took a lid.
    """
    lid = rows.lid.copy()
    lid_s, was = state.lid_s.copy(), state.lid_was.copy()
    since = np.empty(lid.shape, dtype=np.int64)
    for k in range(lid.shape[1]):
        before = np.concatenate([was[k : k + 1], lid[:-1, k]])
        changed = (before != lid[:, k]) & ~(np.isnan(before) & np.isnan(lid[:, k]))
        at = np.where(changed, rows.time_s, np.int64(-1))
        since[:, k] = np.maximum(np.maximum.accumulate(at), lid_s[k])
        lid_s[k], was[k] = since[-1, k], lid[-1, k]
    by_contact = np.array([box.name in contacts for box in garden.boxes])
    old = rows.time_s[:, None] - since >= TOLD_HOLDS_S
    lid[old & (lid <= 0.0) & ~by_contact & _is_dark(rows.time_s, garden.site)[:, None]] = np.nan
    return replace(state, lid_s=lid_s, lid_was=was), replace(rows, lid=lid)


def _is_dark(time_s: IntArray, site: Site) -> BoolArray:
    night = night_ending_after(site, int(time_s[0]))
    following = night_ending_after(site, night.end_s)
    return ((time_s >= night.sunset_s) & (time_s < night.sunrise_s)) | (
        (time_s >= following.sunset_s) & (time_s < following.sunrise_s)
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


def _seen(minutes: Minutes, rows: PlaceRows, row: int, *, first: int, dry_s: IntArray) -> prospects.Seen:
    """A row as a brief sees it; `first` is the row at which the minutes begin."""
    b = rows.air_c.shape[1]
    at = int(np.searchsorted(minutes.trace.index, row - first, side="right")) - 1
    opening = minutes.openings.opening[at] if at >= 0 else np.full(b, np.nan)
    # A guess counts where it says wide open; an inch up or shut it cannot tell.
    guess = np.where(opening >= SURELY_UP, opening, np.nan)
    return prospects.Seen(
        row=row,
        lid=np.where(np.isnan(rows.lid[row]), guess, rows.lid[row]),
        damp=(rows.time_s[row] - dry_s[row] >= DAMP_S) & ~np.isnan(rows.humidity_pct[row]),
        fits=minutes.trace.fits[at] if at >= 0 else np.ones(b, dtype=bool),
    )


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


def _day_records(forecast: DayMaximum, garden: Garden, day: Day, issued_s: int) -> list[DayForecast]:
    found = []
    for b, box in enumerate(garden.boxes):
        for k, lid in enumerate(LIDS):
            if np.isnan(forecast.max_c[k, b]):
                continue
            found.append(
                DayForecast(
                    box=box.name,
                    day=day.date,
                    issued_s=issued_s,
                    lid=lid,  # type: ignore[arg-type]
                    max_c=float(forecast.max_c[k, b]),
                    low_c=float(forecast.low_c[k, b]),
                    high_c=float(forecast.high_c[k, b]),
                    method=forecast.method[k],
                )
            )
    return found


def _night_records(tonight: NightMinimum, garden: Garden, issued_s: int) -> list[NightForecast]:
    night = night_ending_after(garden.site, issued_s)
    chance = tonight.p_below(FROST_C)
    found = []
    for k, name in enumerate((*garden.box_names, OUTSIDE)):
        if np.isnan(tonight.min_c[k]):
            continue
        found.append(
            NightForecast(
                box=name,
                night=night.date,
                issued_s=issued_s,
                min_c=float(tonight.min_c[k]),
                low_c=float(tonight.low_c[k]),
                high_c=float(tonight.high_c[k]),
                p_frost=float(chance[k]),
                method=tonight.method[k],
            )
        )
    return found


def _said(tonight: NightMinimum, garden: Garden) -> dict[str, float]:
    return {
        name: float(tonight.min_c[k])
        for k, name in enumerate(garden.box_names)
        if not np.isnan(tonight.min_c[k])
    }


# Evidence for the rules


def _note_heat(
    heat: _Blank,
    minutes: Minutes,
    first: int,
    rows: PlaceRows,
    garden: Garden,
    issued: _Issued,
    fine: BoolArray,
    read_s: IntArray,
) -> None:
    ahead = minutes.ahead
    if not len(ahead.row):
        return
    at = first + minutes.trace.index[ahead.row]
    # Between readings half an hour apart nothing is learnt: such a box is judged by the hour, as it reads.
    chance = np.where(fine, _within_reach(ahead, garden.boxes), ahead.p60)
    below = rows.air_c[at] <= ahead.limit_c
    known = ~np.isnan(chance) & below & (fine | (rows.time_s[at][:, None] - read_s[at] < ISSUE_EVERY_S))
    # What is read every half hour foretells less: it must be likelier than not.
    raise_at = np.where(fine, RAISE_AT, RAISE_COARSE_AT)
    codes = np.where(chance >= raise_at, ALARM, np.where(chance < HEAT_ENDS * raise_at, CLEAR, BETWEEN))
    heat.codes[at] = np.where(known, codes, UNKNOWN)
    heat.known[at] = known
    heat.value_c[at] = rows.air_c[at]
    heat.chance[at] = chance
    # Where the likeliest path stays below, the horizon itself is the best that can be said.
    horizon_s = 60.0 * np.array([box.reaction_minutes + MARGIN_MIN for box in garden.boxes])
    missing = np.isnan(ahead.eta_s)
    now = ahead.time_s[:, None].astype(float)
    heat.eta_s[at] = np.where(missing, now + horizon_s, ahead.eta_s)
    heat.eta_low_s[at] = np.where(missing, now, ahead.eta_low_s)
    heat.eta_high_s[at] = np.where(missing, now + 3600.0, ahead.eta_high_s)
    for m, time_s in enumerate(ahead.time_s.tolist()):
        for b, name in enumerate(garden.box_names):
            if not np.isnan(ahead.p30[m, b]):
                issued.heat.append(
                    HeatForecast(
                        box=name,
                        issued_s=time_s,
                        limit_c=float(ahead.limit_c[m, b]),
                        p20=float(ahead.p20[m, b]),
                        p30=float(ahead.p30[m, b]),
                        p60=float(ahead.p60[m, b]),
                    )
                )


def _within_reach(ahead, boxes: Sequence[Box]) -> FloatArray:
    """Chance of a crossing within each box's horizon, between the three that are forecast."""
    minutes = np.clip([box.reaction_minutes + MARGIN_MIN for box in boxes], 20.0, 60.0)
    early = np.clip((minutes - 20.0) / 10.0, 0.0, 1.0)
    late = np.clip((minutes - 30.0) / 30.0, 0.0, 1.0)
    return np.where(
        minutes <= 30.0,
        ahead.p20 + early * (ahead.p30 - ahead.p20),
        ahead.p30 + late * (ahead.p60 - ahead.p30),
    )


def _note_frost(frost: _Blank, tonight: NightMinimum, row: int, rows: PlaceRows, limits: BoxLimits) -> None:
    b = len(limits.of)
    limit = np.append(limits.frost_c, np.nan)
    chance = tonight.p_below(limit)[:b]
    # Where it freezes already there is nothing to foretell: the frost alarm speaks.
    known = ~np.isnan(chance) & (rows.air_c[row] >= limits.frost_c)
    codes = np.where(chance >= FROST_CHANCE, ALARM, np.where(chance < 0.5 * FROST_CHANCE, CLEAR, BETWEEN))
    frost.codes[row] = np.where(known, codes, UNKNOWN)
    frost.known[row] = known
    frost.value_c[row] = tonight.min_c[:b]
    frost.chance[row] = chance


def _note_loose(
    loose: _Blank, minutes: Minutes, first: int, rows: PlaceRows, state: ForesightState, fine: BoolArray
) -> ForesightState:
    """Evidence of a box that has stopped holding heat: it was shut earlier in the night, and no more is.

    A box that stood open from the start has stopped nothing. Once told of, a night is not told of again.
    """
    trace = minutes.trace
    if not len(trace) or state.horizon.night.nights < LEARNING_NIGHTS:
        return state
    at = first + trace.index
    dark = (trace.clear_sky_w_m2 <= 0.0)[:, None]
    shut = minutes.openings.p_closed
    was_shut = dark & trace.known & ((shut >= SURELY_SHUT) | (trace.lid_told & (trace.lid <= 0.0)))
    shut_s = np.maximum.accumulate(np.where(was_shut, trace.time_s[:, None], np.int64(0)), axis=0)
    shut_s = np.maximum(shut_s, state.shut_s)
    recent = trace.time_s[:, None] - shut_s <= SHUT_COUNTS_S
    found = minutes.openings.loose & recent & fine
    loose_s = state.loose_s.copy()
    for i, b in zip(*np.nonzero(found), strict=True):
        apart_s = int(trace.time_s[i] - loose_s[b])
        if EPISODE_S < apart_s < ONE_NIGHT_S:
            found[i, b] = False
        else:
            loose_s[b] = trace.time_s[i]
    # By day, or once somebody says where the lid is, there is nothing loose to speak of.
    over = ~dark | trace.lid_told
    codes = np.where(found, ALARM, np.where(shut > 0.5, CLEAR, BETWEEN))
    loose.codes[at] = np.where(over, CLEAR, codes)
    loose.known[at] = trace.known & fine
    loose.value_c[at] = rows.air_c[at]
    return replace(state, shut_s=shut_s[-1].copy(), loose_s=loose_s)


def _fine(garden: Garden) -> BoolArray:
    """Boxes read often enough to tell a lid by the minute, shape (b,)."""

    def slowest(name: str) -> float:
        return max((p.every_s or 0.0 for p in garden.probes_at(name, "air")), default=0.0)

    outside = slowest(OUTSIDE)
    return np.array([max(slowest(name), outside) <= FINE_S for name in garden.box_names])


def _openings_judged(
    judged: FloatArray, minutes: Minutes, garden: Garden
) -> tuple[FloatArray, list[LidOpening]]:
    """Estimated openings that are sure enough and not what was last on record."""
    trace, weight = minutes.trace, minutes.openings.weight
    if not len(trace):
        return judged, []
    judged = judged.copy()
    best = OPENINGS[weight.argmax(axis=1)]
    sure = (weight.max(axis=1) >= SURE_OF_LID) & ~trace.lid_told & trace.known & trace.outside_known[:, None]
    found = []
    for b, name in enumerate(garden.box_names):
        rows = np.flatnonzero(sure[:, b])
        if len(rows):
            values = best[rows, b]
            change = values != np.concatenate([judged[b : b + 1], values[:-1]])
            for row in rows[change]:
                found.append(
                    LidOpening(
                        box=name,
                        time_s=int(trace.time_s[row]),
                        opening=float(best[row, b]),
                        known_from="estimate",
                    )
                )
            judged[b] = values[-1]
        if trace.lid_told[-1, b]:
            judged[b] = np.nan
    return judged, sorted(found, key=lambda lid: (lid.time_s, lid.box))


def _conditions(
    garden: Garden, limits: BoxLimits, rows: PlaceRows, *, heat: _Blank, frost: _Blank, loose: _Blank
) -> list[Condition]:
    subjects = tuple(Subject(name, "air") for name in garden.box_names)
    empty = np.broadcast_to(limits.known_empty, rows.air_c.shape)
    none = np.full(len(subjects), np.nan)
    wide = rows.lid >= WIDE_OPEN

    def made(kind: AlarmKind, evidence: _Blank, limit_c: FloatArray, silenced: BoolArray) -> Condition:
        delays = KINDS[kind].on_delay_s or 0, KINDS[kind].off_delay_s or 0
        return Condition(
            kind=kind,
            subjects=subjects,
            codes=evidence.codes,
            known=evidence.known,
            value_c=evidence.value_c,
            limit_c=limit_c,
            on_delay_s=np.full(len(subjects), delays[0], dtype=np.int64),
            off_delay_s=np.full(len(subjects), delays[1], dtype=np.int64),
            silenced=silenced,
            eta_s=evidence.eta_s,
            eta_low_s=evidence.eta_low_s,
            eta_high_s=evidence.eta_high_s,
            chance=evidence.chance,
        )

    return [
        made("heat-ahead", heat, limits.heat_c, empty | wide),
        made("frost-ahead", frost, limits.frost_c, empty),
        made("lid-loose", loose, none, empty),
    ]
