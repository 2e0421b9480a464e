"""Each probe's readings corrected and checked; flags say why one must not be used for a decision.

The checks, and what they rest on:

- range: what can be true at that place.
- jump: a body with heat in it cannot change arbitrarily fast. The largest believable change grows with
  the time between two readings, so an hourly recording is judged by the hour. A change beyond it is
  flagged; if the following readings agree with it, it was real (a lid thrown open) and is accepted; if
  they go back, it was a fault (a spike), and the probe is said to jump.
- stuck: the very same figure for hours. Air rests on overcast nights, so only daylight counts; soil
  rests for a day; both rest at 0 °C while water freezes or thaws. A probe that reads in coarse steps
  is given longer.

A value is flagged when its row is seen, never afterwards: what was decided on it cannot be taken back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.blocks import FAULT_BITS, Flag
from propstick.engine.carry import last_index, picked, shifted
from propstick.engine.layout import CARRIED_INTERVALS, SILENT_BAND_C, Layout
from propstick.engine.probe_memory import ProbeMemory
from propstick.units import BoolArray, FlagArray, FloatArray, IntArray

FORGET_S = 3 * 3600
"""After so long a silence any value in range may be true."""
BELIEVED_AFTER = 3
"""A level that so many readings in a row agree on is real, however far it lies from the last one."""
RESTING_S = 48 * 3600
"""Unchanged so long, air is stuck even where no sun rises."""
RESTING_NO_SUN_S = 12 * 3600
"""The same where the sun is unknown: half a day always holds some daylight."""
RESTING_WATCHED_S, OFTEN_S = 9 * 3600, 300
"""Minute by minute, air at three measured stations rested an hour at most (0.1 °C steps)."""
STUCK_READINGS = 12
"""Hourly readings of an overcast day agree for nine hours now and then (measured, two airports)."""
FINE_STEP_C = 0.1
COARSE_FACTOR = 4.0
"""A probe that reads in steps over 0.1 °C may rest longer in proportion, at most so much."""

_BEFORE_ENGINE = FAULT_BITS & ~int(Flag.RANGE | Flag.JUMP | Flag.STUCK)


@dataclass(frozen=True)
class Checked:
    """A stretch of rows after the checks, n rows of m probes.

    Attributes:
        value_c: The value each row may use: good, or carried as long as the probe's interval allows.
        last_c: The last good value, however old.
        read_c: What was read in the row, good or not.
        fresh: Where that value was read in this very row.
        flags: `Flag` bits of the garden's probes.
        heard_s: Last usable answer as of each row.
        spike_s: Last jump caught as of each row.
    """

    value_c: FloatArray
    last_c: FloatArray
    read_c: FloatArray
    fresh: BoolArray
    flags: FlagArray
    heard_s: IntArray
    spike_s: IntArray


def check(
    memory: ProbeMemory,
    raw: FloatArray,
    *,
    flags: FlagArray,
    time_s: IntArray,
    lit_s: IntArray,
    layout: Layout,
    sun_known: bool,
) -> tuple[ProbeMemory, Checked]:
    """Corrects and checks a stretch of rows.

    Args:
        raw: As sensed, shape (n, m).
        flags: Bits set before the engine saw the rows, shape (n, m).
        time_s: Rows, shape (n,).
        lit_s: Seconds of daylight each row stands for, shape (n,).
        sun_known: Whether `lit_s` comes from the sun.
    """
    value = np.round(raw + layout.correction, 2)
    here = ~np.isnan(value) & ((flags & _BEFORE_ENGINE) == 0)
    inside = here & (value >= layout.low) & (value <= layout.high)
    t = time_s[:, None]
    read = _Read(value, inside, last_index(inside), memory, time_s)

    jump, spike_s, level = _jumps(memory, read, layout)
    stuck, run = _stuck(memory, read, layout, lit_s=lit_s, sun_known=sun_known)
    good = inside & ~jump & ~stuck

    last_good = last_index(good)
    good_c = picked(value, last_good, memory.good_c)
    good_s = np.where(last_good >= 0, time_s[np.maximum(last_good, 0)], memory.good_s)
    carried = good | (t - good_s <= layout.hold_s) & (layout.hold_s > 0)
    heard_s = np.where(read.last >= 0, time_s[np.maximum(read.last, 0)], memory.heard_s)

    found = flags | np.where(here & ~inside, int(Flag.RANGE), 0).astype(np.uint16)
    found |= np.where(jump, int(Flag.JUMP), 0).astype(np.uint16)
    found |= np.where(stuck, int(Flag.STUCK), 0).astype(np.uint16)
    checked = Checked(
        value_c=np.where(carried, good_c, np.nan),
        last_c=good_c,
        read_c=value,
        fresh=good,
        flags=found,
        heard_s=heard_s,
        spike_s=spike_s,
    )
    after = ProbeMemory(
        ids=memory.ids,
        heard_s=heard_s[-1],
        good_s=good_s[-1],
        good_c=good_c[-1],
        spike_s=spike_s[-1],
        read_s=read.last_s()[0],
        read_c=read.last_c()[0],
        **level,
        **run,
    )
    return after, checked


class _Read:
    """The readings in range of a stretch, and for each row the one before it."""

    def __init__(
        self, value: FloatArray, inside: BoolArray, last: IntArray, memory: ProbeMemory, time_s: IntArray
    ) -> None:
        self.value, self.inside, self.last, self.time_s = value, inside, last, time_s
        self._memory = memory
        before = shifted(last)
        self.before_c = picked(value, before, memory.read_c)
        self.before_s = np.where(before >= 0, time_s[np.maximum(before, 0)], memory.read_s)
        self.change_c = np.where(inside, np.abs(value - self.before_c), np.nan)
        self.wait_s = time_s[:, None] - self.before_s

    def last_c(self) -> FloatArray:
        """The last value in range as of the last row, shape (1, m)."""
        return picked(self.value, self.last[-1:], self._memory.read_c)

    def last_s(self) -> IntArray:
        """Its time, shape (1, m)."""
        last = self.last[-1:]
        return np.where(last >= 0, self.time_s[np.maximum(last, 0)], self._memory.read_s)


def largest_step_c(wait_s: IntArray, layout: Layout) -> FloatArray:
    """The largest believable change after so long [K]; infinite once the last value is forgotten."""
    early = layout.step_10 * (np.minimum(wait_s, 600) / 600.0)
    late = layout.step_60 * (np.minimum(np.maximum(wait_s - 600, 0), 3000) / 3000.0)
    return np.where(wait_s > FORGET_S, np.inf, layout.step_0 + early + late)


def _jumps(
    memory: ProbeMemory, read: _Read, layout: Layout
) -> tuple[BoolArray, IntArray, dict[str, np.ndarray]]:
    """Flags, time of the last jump caught as of each row, and what to remember of the levels."""
    jump = np.zeros(read.value.shape, dtype=np.bool_)
    spike_s = np.broadcast_to(memory.spike_s, read.value.shape)
    level = {
        "level_s": read.last_s()[0],
        "level_c": read.last_c()[0],
        "odd_s": memory.odd_s,
        "odd_c": memory.odd_c,
        "odd_count": memory.odd_count,
    }
    wild = read.change_c > largest_step_c(read.wait_s, layout)
    doubtful = np.flatnonzero(wild.any(axis=0) | (memory.odd_count > 0))
    if not len(doubtful):
        return jump, spike_s, level
    # Only columns with something odd in them are walked through, and there only from one wild reading until
    # a level stands again: in between each reading settles on the one before it.
    spike_s = spike_s.copy()
    level = {name: array.copy() for name, array in level.items()}
    for c in doubtful:
        walk = _LevelWalk(memory, int(c), layout)
        rows = np.flatnonzero(read.inside[:, c])
        starts = np.append(np.flatnonzero(wild[rows, c]), len(rows))
        at = 0
        while at < len(rows):
            if walk.odd_count == 0:
                start = int(starts[np.searchsorted(starts, at)])
                if start > at:
                    i = rows[start - 1]
                    walk.settle(int(read.time_s[i]), float(read.value[i, c]))
                    at = start
                    continue
            i = rows[at]
            at_s = int(read.time_s[i])
            jump[i, c] = walk.is_jump(at_s, float(read.value[i, c]))
            if walk.spike_s == at_s:
                spike_s[i:, c] = at_s
            at += 1
        for name in level:
            level[name][c] = getattr(walk, name)
    return jump, spike_s, level


class _LevelWalk:
    """One probe followed reading by reading: which level does it stand on?"""

    def __init__(self, memory: ProbeMemory, c: int, layout: Layout) -> None:
        self.level_s, self.level_c = int(memory.level_s[c]), float(memory.level_c[c])
        self.odd_s, self.odd_c = int(memory.odd_s[c]), float(memory.odd_c[c])
        self.odd_count = int(memory.odd_count[c])
        self.spike_s = int(memory.spike_s[c])
        self._steps = float(layout.step_0[c]), float(layout.step_10[c]), float(layout.step_60[c])

    def is_jump(self, at_s: int, value_c: float) -> bool:
        """Takes in the next reading; True if it must not be used."""
        waited_s = at_s - self.level_s
        back = abs(value_c - self.level_c) <= self._largest(waited_s)
        if self.odd_count == 0:
            if back or waited_s > FORGET_S:
                return self.settle(at_s, value_c)
            return self._doubt(at_s, value_c, 1)
        agrees = abs(value_c - self.odd_c) <= self._largest(at_s - self.odd_s)
        if back and (not agrees or abs(value_c - self.level_c) <= abs(value_c - self.odd_c)):
            self.spike_s = at_s
            return self.settle(at_s, value_c)
        if (agrees and self.odd_count + 1 >= BELIEVED_AFTER) or waited_s > FORGET_S:
            return self.settle(at_s, value_c)
        if not agrees:  # neither the old level nor the new one: the probe leaps about
            self.spike_s = at_s
        return self._doubt(at_s, value_c, self.odd_count + 1 if agrees else 1)

    def settle(self, at_s: int, value_c: float) -> bool:
        """Takes the reading for the level; False: it may be used."""
        self.level_s, self.level_c, self.odd_count = at_s, value_c, 0
        return False

    def _doubt(self, at_s: int, value_c: float, count: int) -> bool:
        self.odd_s, self.odd_c, self.odd_count = at_s, value_c, count
        return True

    def _largest(self, wait_s: int) -> float:
        at_once, ten, sixty = self._steps
        late = sixty * (min(max(wait_s - 600, 0), 3000) / 3000.0)
        return at_once + ten * (min(wait_s, 600) / 600.0) + late


def _stuck(
    memory: ProbeMemory, read: _Read, layout: Layout, *, lit_s: IntArray, sun_known: bool
) -> tuple[BoolArray, dict[str, np.ndarray]]:
    """Where a value has stood still too long, and what to remember of the stretch it stands in."""
    t = read.time_s[:, None]
    changed = read.inside & ~((read.change_c == 0.0) & (read.wait_s <= _patience_s(layout)))
    finest_c = np.fmin.accumulate(
        np.fmin(np.where(read.change_c > 0.0, read.change_c, np.inf), memory.finest_c), axis=0
    )
    start = last_index(changed)
    begun = np.maximum(start, 0)
    lit_sum = np.cumsum(lit_s)  # whole numbers: adding is exact
    same_since_s = np.where(start >= 0, read.time_s[begun], memory.same_since_s)
    same_lit_s = lit_sum[:, None] - np.where(start >= 0, lit_sum[begun], -memory.same_lit_s)
    step_c = np.where(np.isinf(finest_c), FINE_STEP_C, finest_c)
    coarse = np.clip(step_c / FINE_STEP_C, 1.0, COARSE_FACTOR)
    rested_s = t - same_since_s
    # Read every few minutes in fine steps, air does not rest through a night: a stuck probe hides frost.
    resting_s = np.full(coarse.shape, float(RESTING_S)) if sun_known else RESTING_NO_SUN_S * coarse
    watched = (finest_c <= FINE_STEP_C) & (layout.hold_s <= CARRIED_INTERVALS * OFTEN_S)
    resting_s = np.where(watched, np.minimum(resting_s, RESTING_WATCHED_S), resting_s)
    by_clock = rested_s >= np.where(layout.by_day, resting_s, layout.stuck_s)
    long_s = np.maximum(layout.stuck_s * coarse, STUCK_READINGS * layout.hold_s / CARRIED_INTERVALS)
    by_light = layout.by_day & (same_lit_s >= long_s) & sun_known
    judged = read.inside & (layout.stuck_s > 0) & (np.abs(read.value) > SILENT_BAND_C)
    stuck = judged & (by_clock | by_light)
    return stuck, {"same_since_s": same_since_s[-1], "same_lit_s": same_lit_s[-1], "finest_c": finest_c[-1]}


def _patience_s(layout: Layout) -> IntArray:
    """A silence longer than this begins a new stretch: nobody knows what happened in it."""
    return np.maximum(3600, 2 * layout.hold_s)
