"""What is remembered of each probe from row to row, so that quality can be judged across blocks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine.carry import NEVER_S
from propstick.units import FloatArray, IntArray


@dataclass(frozen=True)
class ProbeMemory:
    """What is remembered of each of m probes from row to row.

    Attributes:
        heard_s: Last row with a usable answer; what is out of range or flagged at the edge is none.
        good_s, good_c: The last value that may be used.
        level_s, level_c: The last value that made sense after the one before.
        odd_s, odd_c, odd_count: A level that did not, and how many readings agree on it.
        spike_s: When the probe was last caught jumping.
        read_s, read_c: The last value in range.
        same_since_s, same_lit_s: Since when, and for how much daylight, that value is unchanged.
        finest_c: Smallest change ever seen: the step the probe reads in.
    """

    ids: tuple[str, ...]
    heard_s: IntArray
    good_s: IntArray
    good_c: FloatArray
    level_s: IntArray
    level_c: FloatArray
    odd_s: IntArray
    odd_c: FloatArray
    odd_count: IntArray
    spike_s: IntArray
    read_s: IntArray
    read_c: FloatArray
    same_since_s: IntArray
    same_lit_s: IntArray
    finest_c: FloatArray

    def at(self, ids: tuple[str, ...], *, since_s: int) -> ProbeMemory:
        """The same memory for another set of probes; new ones begin at `since_s`."""
        if ids == self.ids:
            return self
        fresh = new_memory(ids, since_s=since_s)
        where = {probe: c for c, probe in enumerate(self.ids)}
        new = [c for c, probe in enumerate(ids) if probe in where]
        old = [where[ids[c]] for c in new]
        for name in self.__dataclass_fields__:
            if name != "ids":
                getattr(fresh, name)[new] = getattr(self, name)[old]
        return fresh


def new_memory(ids: tuple[str, ...], *, since_s: int) -> ProbeMemory:
    """Nothing read yet; silence is counted from `since_s`."""
    m = len(ids)
    never, nothing = np.full(m, NEVER_S, dtype=np.int64), np.full(m, np.nan)
    return ProbeMemory(
        ids=ids,
        heard_s=np.full(m, since_s, dtype=np.int64),
        good_s=never,
        good_c=nothing,
        level_s=never.copy(),
        level_c=nothing.copy(),
        odd_s=never.copy(),
        odd_c=nothing.copy(),
        odd_count=np.zeros(m, dtype=np.int64),
        spike_s=never.copy(),
        read_s=never.copy(),
        read_c=nothing.copy(),
        same_since_s=never.copy(),
        same_lit_s=np.zeros(m, dtype=np.int64),
        finest_c=np.full(m, np.inf),
    )
