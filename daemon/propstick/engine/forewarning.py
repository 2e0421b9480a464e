"""What forecasts say of the three rules that foretell: `heat-ahead`, `frost-ahead`, `lid-loose`.

Each is evidence on some rows of a stretch, in the form every other rule has; the alarm life is the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine.advice import FROST_CHANCE
from propstick.engine.conditions import ALARM, BETWEEN, CLEAR, UNKNOWN, Condition, Subject
from propstick.engine.heat_ahead import ISSUE_EVERY_S, RAISE_AT, HeatAhead
from propstick.engine.kinds import KINDS
from propstick.engine.layout import BoxLimits
from propstick.engine.minute import Minutes
from propstick.engine.night import NightMinimum
from propstick.engine.wording import WIDE_OPEN
from propstick.garden import OUTSIDE, Box, Garden
from propstick.records import AlarmKind
from propstick.units import BoolArray, FloatArray, IntArray

SURELY_SHUT = 0.9
SHUT_COUNTS_S = 10 * 3600
SAME_SPELL_S, ONE_NIGHT_S = 1800, 14 * 3600
FINE_S = 600.0
"""Readings farther apart than this do not show a lid; what they show is the weather."""
RAISE_COARSE_AT = 0.5
HEAT_ENDS = 0.4
"""A heat forecast is withdrawn under this share of the chance that raises it."""
MARGIN_MIN = 10.0
"""The horizon of a warning: the person's reaction time and so much more."""


@dataclass
class Evidence:
    """A rule's evidence on the rows of a stretch, filled in where there is any."""

    codes: np.ndarray
    known: BoolArray
    value_c: FloatArray
    chance: FloatArray
    eta_s: FloatArray
    eta_low_s: FloatArray
    eta_high_s: FloatArray

    @staticmethod
    def of(n: int, b: int) -> Evidence:
        def nans() -> FloatArray:
            return np.full((n, b), np.nan)

        codes, known = np.full((n, b), UNKNOWN, dtype=np.int8), np.zeros((n, b), dtype=bool)
        return Evidence(codes, known, nans(), nans(), nans(), nans(), nans())


@dataclass(frozen=True)
class LooseMemory:
    """Last row by night on which each box was surely shut, and was found loose; UTC seconds, shape (b,)."""

    shut_s: IntArray
    loose_s: IntArray

    @staticmethod
    def of(b: int) -> LooseMemory:
        return LooseMemory(np.zeros(b, dtype=np.int64), np.zeros(b, dtype=np.int64))


def note_heat(
    heat: Evidence,
    minutes: Minutes,
    first: int,
    *,
    rows: PlaceRows,
    garden: Garden,
    fine: BoolArray,
    read_s: IntArray,
) -> None:
    """What the heat forecasts of these minutes say; `first` is the row at which they begin.

    Args:
        fine: Boxes read often enough to be judged every five minutes, shape (b,).
        read_s: Last reading of each box's air at each row, shape (n, b).
    """
    ahead = minutes.ahead
    if not len(ahead.row):
        return
    at = first + minutes.trace.index[ahead.row]
    # Between readings half an hour apart nothing is learnt: such a box is judged by the hour, as it reads.
    chance = np.where(fine, within_reach(ahead, garden.boxes), ahead.p60)
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


def within_reach(ahead: HeatAhead, boxes: Sequence[Box]) -> FloatArray:
    """Chance of a crossing within each box's horizon, between the three that are forecast."""
    minutes = np.clip([box.reaction_minutes + MARGIN_MIN for box in boxes], 20.0, 60.0)
    early = np.clip((minutes - 20.0) / 10.0, 0.0, 1.0)
    late = np.clip((minutes - 30.0) / 30.0, 0.0, 1.0)
    return np.where(
        minutes <= 30.0,
        ahead.p20 + early * (ahead.p30 - ahead.p20),
        ahead.p30 + late * (ahead.p60 - ahead.p30),
    )


def note_frost(
    frost: Evidence, tonight: NightMinimum, row: int, *, rows: PlaceRows, limits: BoxLimits
) -> None:
    """What tonight's forecast, issued at `row`, says of frost."""
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


def note_loose(
    loose: Evidence, minutes: Minutes, first: int, *, rows: PlaceRows, memory: LooseMemory, fine: BoolArray
) -> LooseMemory:
    """Evidence of a box that has stopped holding heat: it was shut earlier in the night, and no more is.

    A box that stood open from the start has stopped nothing. Once told of, a night is not told of again.
    """
    trace = minutes.trace
    if not len(trace):
        return memory
    at = first + trace.index
    dark = (trace.clear_sky_w_m2 <= 0.0)[:, None]
    shut = minutes.openings.p_closed
    was_shut = dark & trace.known & ((shut >= SURELY_SHUT) | (trace.lid_told & (trace.lid <= 0.0)))
    shut_s = np.maximum.accumulate(np.where(was_shut, trace.time_s[:, None], np.int64(0)), axis=0)
    shut_s = np.maximum(shut_s, memory.shut_s)
    recent = trace.time_s[:, None] - shut_s <= SHUT_COUNTS_S
    found = minutes.openings.loose & recent & fine
    loose_s = memory.loose_s.copy()
    for i, b in zip(*np.nonzero(found), strict=True):
        apart_s = int(trace.time_s[i] - loose_s[b])
        if SAME_SPELL_S < apart_s < ONE_NIGHT_S:
            found[i, b] = False
        else:
            loose_s[b] = trace.time_s[i]
    # By day, or once somebody says where the lid is, there is nothing loose to speak of.
    over = ~dark | trace.lid_told
    codes = np.where(found, ALARM, np.where(shut > 0.5, CLEAR, BETWEEN))
    loose.codes[at] = np.where(over, CLEAR, codes)
    loose.known[at] = trace.known & fine
    loose.value_c[at] = rows.air_c[at]
    return LooseMemory(shut_s[-1].copy(), loose_s)


def fine_boxes(garden: Garden) -> BoolArray:
    """Boxes read often enough to tell a lid by the minute, shape (b,)."""
    return np.maximum(read_every_s(garden), _slowest_s(garden, OUTSIDE)) <= FINE_S


def read_every_s(garden: Garden) -> FloatArray:
    """Seconds between the readings of each box's air; 0 where every row has one, shape (b,)."""
    return np.array([_slowest_s(garden, name) for name in garden.box_names])


def seldom_read(garden: Garden) -> BoolArray:
    """Boxes, then outside, whose last reading may be so old that their air now is not known, (b + 1,)."""
    return np.append(read_every_s(garden), _slowest_s(garden, OUTSIDE)) > FINE_S


def _slowest_s(garden: Garden, name: str) -> float:
    return max((p.every_s or 0.0 for p in garden.probes_at(name, "air")), default=0.0)


def conditions(
    garden: Garden, limits: BoxLimits, rows: PlaceRows, *, heat: Evidence, frost: Evidence, loose: Evidence
) -> list[Condition]:
    """The three forecasting rules, as codes like any other."""
    subjects = tuple(Subject(name, "air") for name in garden.box_names)
    empty = np.broadcast_to(limits.known_empty, rows.air_c.shape)
    none = np.full(len(subjects), np.nan)
    wide = rows.lid >= WIDE_OPEN

    def made(kind: AlarmKind, evidence: Evidence, limit_c: FloatArray, silenced: BoolArray) -> Condition:
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
