"""Which condition holds on which row: every alarm rule as a column of codes.

A code says where a value stands with regard to its setpoint: past it, between setpoint and deadband, or
clear of it; a raised alarm returns only when the value is past the limit by the deadband (OPC UA Part 9,
B.1.5). A value not known for a while keeps its last code, so that one lost reading changes nothing; after
ten minutes the code is UNKNOWN, which neither raises nor returns an alarm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.blocks import Flag, PlaceRows
from propstick.engine.carry import NEVER_S, last_index, picked
from propstick.engine.kinds import KINDS
from propstick.engine.layout import BoxLimits, Layout
from propstick.engine.quality import Checked
from propstick.engine.trends import Trends, quick_enough
from propstick.garden import OUTSIDE, Garden
from propstick.records import AlarmKind
from propstick.units import BoolArray, FloatArray, IntArray

UNKNOWN, CLEAR, BETWEEN, ALARM = -1, 0, 1, 2
HELD_S = 600
"""A gap longer than this is silence (design); shorter, the last code stands."""
JUMPY_S = 3600
"""A caught jump is in alarm for so long; the next one within it belongs to the same alarm."""
FAST_RISE_ENDS = 0.5
"""A fast rise is over when the air rises at less than this share of its limit."""


@dataclass(frozen=True)
class Subject:
    """What an alarm is about."""

    box: str
    place: str | None = None
    probe: str | None = None


@dataclass(frozen=True)
class Condition:
    """One rule over a stretch of rows, for k subjects.

    Attributes:
        codes: UNKNOWN, CLEAR, BETWEEN or ALARM, shape (n, k).
        known: Where the row itself has evidence; only there an alarm is raised or returns.
        value_c: What the code rests on, shape (n, k); NaN where there is no temperature to show.
        limit_c: Shape (k,); NaN where there is none.
        on_delay_s, off_delay_s: Shape (k,).
        silenced: Suppressed by design on these rows, shape (n, k); None: nowhere.
        eta_s, eta_low_s, eta_high_s, chance: Of a forecast, shape (n, k); None for what is measured.
        word: What a message may add to name the case, one for each subject; empty where none.
    """

    kind: AlarmKind
    subjects: tuple[Subject, ...]
    codes: np.ndarray
    known: BoolArray
    value_c: FloatArray
    limit_c: FloatArray
    on_delay_s: IntArray
    off_delay_s: IntArray
    silenced: BoolArray | None = None
    eta_s: FloatArray | None = None
    eta_low_s: FloatArray | None = None
    eta_high_s: FloatArray | None = None
    chance: FloatArray | None = None


@dataclass(frozen=True)
class CodeMemory:
    """The last evidence of one rule: codes, when, and whether it was silenced; shape (k,) each."""

    subjects: tuple[Subject, ...]
    code: np.ndarray
    known_s: IntArray
    silenced: BoolArray

    def at(self, subjects: tuple[Subject, ...]) -> CodeMemory:
        """The same for other subjects; new ones are unknown."""
        if subjects == self.subjects:
            return self
        fresh = no_codes(subjects)
        where = {subject: k for k, subject in enumerate(self.subjects)}
        for k, subject in enumerate(subjects):
            if subject in where:
                fresh.code[k] = self.code[where[subject]]
                fresh.known_s[k] = self.known_s[where[subject]]
                fresh.silenced[k] = self.silenced[where[subject]]
        return fresh


def no_codes(subjects: tuple[Subject, ...]) -> CodeMemory:
    """Nothing known yet."""
    k = len(subjects)
    return CodeMemory(
        subjects,
        np.full(k, UNKNOWN, dtype=np.int8),
        np.full(k, NEVER_S, dtype=np.int64),
        np.zeros(k, dtype=np.bool_),
    )


def held(
    condition: Condition, memory: CodeMemory, time_s: IntArray, before_s: int
) -> tuple[np.ndarray, np.ndarray, CodeMemory]:
    """Codes with short gaps closed, the codes of the row before each, and the memory after.

    Returns:
        Codes and codes before, shape (n, k) each; +4 where silenced, so that one comparison finds both.
    """
    last = last_index(condition.known)
    code = picked(condition.codes, last, memory.code)
    known_s = np.where(last >= 0, time_s[np.maximum(last, 0)], memory.known_s)
    n = len(time_s)
    silenced = np.zeros(code.shape, dtype=np.bool_) if condition.silenced is None else condition.silenced
    filled = np.where(time_s[:, None] - known_s <= HELD_S, code, UNKNOWN) + 4 * silenced
    first = np.where(before_s - memory.known_s <= HELD_S, memory.code, UNKNOWN) + 4 * memory.silenced
    before = np.concatenate([first[None, :], filled[: n - 1]])
    return filled, before, CodeMemory(memory.subjects, code[-1].astype(np.int8), known_s[-1], silenced[-1])


def threshold_codes(value: FloatArray, limit: FloatArray, *, deadband: FloatArray, sign: int) -> np.ndarray:
    """Codes of a value held against a setpoint. NaN gives CLEAR; mind `known`."""
    past = (value > limit) if sign > 0 else (value < limit)
    # `limit - sign × deadband` is where the deadband ends.
    inside = (value > limit - deadband) if sign > 0 else (value < limit + deadband)
    return np.where(past, ALARM, np.where(inside, BETWEEN, CLEAR)).astype(np.int8)


def conditions_of(
    garden: Garden, *, layout: Layout, limits: BoxLimits, rows: PlaceRows, checked: Checked, trends: Trends
) -> list[Condition]:
    """Every rule that rests on measurements, over a stretch of rows."""
    boxes = tuple(Subject(name, "air") for name in garden.box_names)
    soils = tuple(Subject(name, "soil") for name in garden.box_names)
    air_known, soil_known = ~np.isnan(rows.air_c), ~np.isnan(rows.soil_c)
    deadband, on, off = limits.column("deadband_c"), limits.column("on_delay_s"), limits.column("off_delay_s")

    def rule(
        kind: AlarmKind,
        subjects: tuple[Subject, ...],
        codes: np.ndarray,
        known: BoolArray,
        value: FloatArray,
        limit: FloatArray,
        silenced: BoolArray | None = None,
    ) -> Condition:
        kind_on, kind_off = KINDS[kind].on_delay_s, KINDS[kind].off_delay_s
        k = len(subjects)
        return Condition(
            kind,
            subjects,
            codes,
            known,
            value,
            limit,
            on.astype(np.int64) if kind_on is None else np.full(k, kind_on, dtype=np.int64),
            off.astype(np.int64) if kind_off is None else np.full(k, kind_off, dtype=np.int64),
            silenced,
        )

    empty = np.broadcast_to(limits.known_empty, air_known.shape)
    found: list[Condition] = []
    if boxes:
        heat, frost = limits.heat_c, limits.frost_c
        codes = threshold_codes(rows.air_c, heat, deadband=deadband, sign=1)
        found.append(rule("heat", boxes, codes, air_known, rows.air_c, heat, empty))
        codes = threshold_codes(rows.air_c, frost, deadband=deadband, sign=-1)
        found.append(rule("frost", boxes, codes, air_known, rows.air_c, frost, empty))
        codes, known = _fast_rise(rows, limits, trends)
        found.append(rule("fast-rise", boxes, codes, known, rows.air_c, heat, empty))
        for kind, limit in (("soil-cold", limits.soil_cold_c), ("soil-hot", limits.soil_hot_c)):
            codes = threshold_codes(rows.soil_c, limit, deadband=deadband, sign=KINDS[kind].sign)
            codes = np.where(limits.awaits_emergence, codes, CLEAR).astype(np.int8)
            found.append(rule(kind, soils, codes, soil_known, rows.soil_c, limit))
        outside = rows.outside_air_c[:, None]
        margin = limits.column("no_shelter_c")
        below = rows.air_c - outside
        codes = threshold_codes(below, -margin, deadband=margin, sign=-1)
        known = air_known & ~np.isnan(outside)
        found.append(
            rule("no-shelter", boxes, codes, known, rows.air_c, np.full(len(boxes), np.nan), rows.lid > 0.0)
        )
    found.extend(_probe_conditions(garden, layout, checked, rows, rule))
    return found


def _fast_rise(rows: PlaceRows, limits: BoxLimits, trends: Trends) -> tuple[np.ndarray, BoolArray]:
    minutes = limits.column("fast_rise_minutes")
    rise_c = trends.air_c_per_h[:, :-1] * (minutes / 60.0)
    room_c = limits.heat_c - rows.air_c
    near = room_c <= limits.column("fast_rise_within_c")
    codes = np.where(
        near & (rise_c >= limits.column("fast_rise_c")),
        ALARM,
        np.where(near & (rise_c >= FAST_RISE_ENDS * limits.column("fast_rise_c")), BETWEEN, CLEAR),
    )
    return codes.astype(np.int8), ~np.isnan(rise_c) & quick_enough(trends, minutes=minutes)


def _probe_conditions(garden, layout: Layout, checked: Checked, rows: PlaceRows, rule) -> list[Condition]:
    m = len(layout.ids)
    if not m:
        return []
    subjects = tuple(Subject(p.box, p.place, p.id) for p in garden.probes)
    t = rows.time_s[:, None]
    always = np.ones(checked.value_c.shape, dtype=np.bool_)
    nothing, no_limit = np.broadcast_to(np.nan, checked.value_c.shape), np.full(m, np.nan)
    silent = np.where(t - checked.heard_s >= layout.silent_s, ALARM, CLEAR).astype(np.int8)
    stuck_flag = (checked.flags & int(Flag.STUCK)) != 0
    stuck = np.where(stuck_flag, ALARM, CLEAR).astype(np.int8)
    jumpy = np.where(t - checked.spike_s < JUMPY_S, ALARM, CLEAR).astype(np.int8)
    found = [
        rule("probe-silent", subjects, silent, always, nothing, no_limit),
        rule("probe-stuck", subjects, stuck, stuck_flag | checked.fresh, checked.value_c, no_limit),
        rule("probe-jump", subjects, jumpy, always, nothing, no_limit),
    ]
    shared = [
        key for key, columns in layout.columns.items() if len(columns) > 1 and key[1] in ("air", "soil")
    ]
    if shared:
        found.append(_disagreement(garden, layout, checked, shared, rule))
    return found


def _disagreement(garden, layout: Layout, checked: Checked, shared: list[tuple[str, str]], rule) -> Condition:
    """Places whose good probes lie too far apart; which of two is wrong nobody can tell."""
    spreads, limits = [], []
    for box, place in shared:
        values = checked.value_c[:, layout.columns[box, place]]
        here = ~np.isnan(values)
        high = np.where(here, values, -np.inf).max(axis=1)
        low = np.where(here, values, np.inf).min(axis=1)
        spreads.append(np.where(here.sum(axis=1) > 1, high - low, np.nan))
        own = garden.site_limits if box == OUTSIDE else garden.box(box).limits.over(garden.site_limits)
        limits.append(own.disagree_c)
    spread, limit = np.stack(spreads, axis=1), np.array(limits, dtype=np.float64)
    codes = threshold_codes(spread, limit, deadband=limit / 3.0, sign=1)
    subjects = tuple(Subject(box, place) for box, place in shared)
    return rule("probe-disagrees", subjects, codes, ~np.isnan(spread), spread, limit)
