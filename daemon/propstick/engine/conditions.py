"""Conditions on rows as columns of codes, and how short gaps in them are closed.

A code says where a value stands with regard to its setpoint: past it, between setpoint and deadband, or
clear of it; a raised alarm returns only when the value is past the limit by the deadband (OPC UA Part 9,
B.1.5). A value not known for a while keeps its last code, so that one lost reading changes nothing; after
ten minutes the code is UNKNOWN, which neither raises nor returns an alarm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine.carry import NEVER_S, last_index, picked
from propstick.engine.kinds import KINDS
from propstick.records import AlarmKind
from propstick.units import BoolArray, FloatArray, IntArray

UNKNOWN, CLEAR, BETWEEN, ALARM = -1, 0, 1, 2
SILENCED = np.int8(4)
"""Added to a code by `held` on rows on which the rule is suppressed by design."""
HELD_S = 600
"""A gap longer than this is silence (design); shorter, the last code stands."""


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
        Codes and codes before, shape (n, k) each, with `SILENCED` added where the rule is suppressed by
        design, so that one comparison finds both; and the memory.
    """
    codes, n = condition.codes, len(time_s)
    if condition.known.all():
        code, known_s = codes[-1], np.full(codes.shape[1], time_s[-1])
        filled = codes
    else:
        last = last_index(condition.known)
        carried = picked(codes, last, memory.code)
        since_s = np.where(last >= 0, time_s[np.maximum(last, 0)], memory.known_s)
        code, known_s = carried[-1], since_s[-1]
        filled = np.where(time_s[:, None] - since_s <= HELD_S, carried, np.int8(UNKNOWN))
    silenced = np.zeros(codes.shape[1], dtype=np.bool_)
    if condition.silenced is not None:
        filled = filled + SILENCED * condition.silenced.astype(np.int8)
        silenced = condition.silenced[-1]
    first = np.where(before_s - memory.known_s <= HELD_S, memory.code, UNKNOWN) + SILENCED * memory.silenced
    before = np.concatenate([first[None, :].astype(np.int8), filled[: n - 1]])
    return filled, before, CodeMemory(memory.subjects, code.copy(), known_s, silenced.copy())


def threshold_codes(
    value: FloatArray, limit: FloatArray | float, *, deadband: FloatArray | float, sign: int
) -> np.ndarray:
    """Codes of a value held against a setpoint. NaN gives CLEAR; mind `known`."""
    past = (value > limit) if sign > 0 else (value < limit)
    # `limit - sign × deadband` is where the deadband ends.
    inside = (value > limit - deadband) if sign > 0 else (value < limit + deadband)
    return np.where(past, ALARM, np.where(inside, BETWEEN, CLEAR)).astype(np.int8)


def condition(
    kind: AlarmKind,
    subjects: tuple[Subject, ...],
    *,
    codes: np.ndarray,
    known: BoolArray,
    value_c: FloatArray,
    limit_c: FloatArray,
    delays_s: tuple[FloatArray, FloatArray] | None = None,
    silenced: BoolArray | None = None,
) -> Condition:
    """A rule without a forecast. `delays_s`: on and off, for kinds that have none of their own."""
    own = KINDS[kind].on_delay_s, KINDS[kind].off_delay_s
    on_s, off_s = (
        np.full(len(subjects), fixed, dtype=np.int64) if fixed is not None else usual.astype(np.int64)
        for fixed, usual in zip(own, delays_s or (np.zeros(0), np.zeros(0)), strict=True)
    )
    return Condition(kind, subjects, codes, known, value_c, limit_c, on_s, off_s, silenced)
