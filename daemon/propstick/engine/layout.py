"""The garden as columns: which probe sits where, with its correction, its limits of belief, its holding time.

Worked out once per garden and kept; the garden is frozen, so the layout cannot go stale.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import lru_cache

import numpy as np

from propstick.blocks import Block, Flag
from propstick.garden import OUTSIDE, Garden
from propstick.limits import Limits
from propstick.units import BoolArray, FlagArray, FloatArray, IntArray

CARRIED_INTERVALS = 2
"""A slow probe's value is carried for so many of its own intervals (design)."""
SILENT_INTERVALS = 3
SILENT_BAND_C = 0.3
"""Thawing and freezing hold a probe at 0 °C for days: within this of it, unchanged is not stuck."""

RANGES: dict[tuple[bool, str], tuple[float, float]] = {
    # The coldest and hottest air on record are near -89 and 57 °C; gardens are milder.
    (True, "air"): (-50.0, 60.0),
    (True, "soil"): (-35.0, 60.0),  # bare dry ground in the sun
    (False, "air"): (-50.0, 75.0),  # a shut box in the sun scorches at 55 to 60 °C, a sunlit probe reads more
    (False, "soil"): (-35.0, 60.0),
    (True, "humidity"): (0.0, 105.0),  # capacitive probes overshoot when wet
    (False, "humidity"): (0.0, 105.0),
    (True, "moisture"): (0.0, 100.0),
    (False, "moisture"): (0.0, 100.0),
    (True, "lid"): (0.0, 1.0),
    (False, "lid"): (0.0, 1.0),
}
"""What can be true, by (outside, place) [°C, %, 0-1]. Common practice, no source, unless said."""
UNASSIGNED_RANGE_C = (-55.0, 125.0)
"""What the wired probe can measure at all (DS18B20 datasheet)."""

# The largest believable change between two readings: at once, more in the first ten minutes, more until
# an hour [K]. Set from measured one-minute, ten-minute and hourly recordings of boxes and open ground:
# a lid thrown open is told from a fault by what follows (see quality), so these may be exceeded by truth.
STEPS: dict[tuple[bool, str], tuple[float, float, float]] = {
    (True, "air"): (5.0, 7.0, 13.0),
    (False, "air"): (7.0, 11.0, 15.0),
    (True, "soil"): (3.0, 4.0, 9.0),
    (False, "soil"): (3.0, 4.0, 9.0),
}


@dataclass(frozen=True)
class Layout:
    """Columns of a garden: m probes, b boxes.

    Attributes:
        ids: Probe ids, in the garden's order.
        hold_s: For how long a value counts beyond its row, shape (m,); 0 on a wire.
        silent_s: After how long without a usable reading the probe is silent, shape (m,).
        low, high: What can be true, shape (m,).
        step_0, step_10, step_60: Largest believable change: at once, and what ten minutes and an hour
            add [K], shape (m,); infinite where changes are not judged.
        stuck_s: Unchanged so long (by day, for air) is stuck, shape (m,); 0 where not judged.
        by_day: Only daylight counts towards `stuck_s`, shape (m,).
        columns: Of each (box, place) its probes' columns; loose probes have none.
    """

    ids: tuple[str, ...]
    correction: FloatArray
    hold_s: IntArray
    silent_s: IntArray
    low: FloatArray
    high: FloatArray
    step_0: FloatArray
    step_10: FloatArray
    step_60: FloatArray
    stuck_s: IntArray
    by_day: BoolArray
    columns: dict[tuple[str, str], tuple[int, ...]]

    def interval_s(self, box: str, place: str, step_s: int) -> int:
        """Seconds between readings of a place: the quickest of its probes, at least the grid's step."""
        held = [int(self.hold_s[c]) // CARRIED_INTERVALS for c in self.columns.get((box, place), ())]
        return max(step_s, min(held, default=step_s))


@dataclass(frozen=True)
class BoxLimits:
    """The limits in force in each box on one local date, shape (b,) each; `of` has them whole."""

    of: tuple[Limits, ...]
    heat_c: FloatArray
    frost_c: FloatArray
    soil_cold_c: FloatArray
    soil_hot_c: FloatArray
    known_empty: BoolArray
    awaits_emergence: BoolArray

    def column(self, name: str) -> FloatArray:
        """Any limit as an array over the boxes."""
        return np.array([getattr(limits, name) for limits in self.of], dtype=np.float64)


@lru_cache(maxsize=16)
def layout_of(garden: Garden) -> Layout:
    """The columns of a garden."""
    names = {box.name: box for box in garden.boxes}
    rows = []
    for probe in garden.probes:
        outside = probe.box == OUTSIDE
        bare = outside or probe.is_loose
        limits = garden.site_limits if bare else names[probe.box].limits.over(garden.site_limits)
        key = (outside, probe.place)  # a loose probe lies in the sun, and warms as one in a box does
        every_s = round(probe.every_s or 0)
        silent_s = max(round(60 * limits.silent_minutes), SILENT_INTERVALS * every_s)
        # A lid stays as it is while its contact misses a beat.
        hold_s = silent_s if probe.place == "lid" else CARRIED_INTERVALS * every_s
        stuck_h = {"air": limits.stuck_air_hours, "soil": limits.stuck_soil_hours}.get(probe.place, 0.0)
        rows.append(
            (
                probe.correction_c,
                hold_s,
                silent_s,
                *RANGES[key],
                *STEPS.get(key, (np.inf, 0.0, 0.0)),
                round(3600 * stuck_h),
                probe.place == "air",
            )
        )
    correction, hold, silent, low, high, s0, s10, s60, stuck, by_day = (
        zip(*rows, strict=True) if rows else ((),) * 10
    )
    columns: dict[tuple[str, str], tuple[int, ...]] = {}
    for c, probe in enumerate(garden.probes):
        if probe.is_loose:  # of no place: nothing is decided by it
            continue
        columns[probe.box, probe.place] = (*columns.get((probe.box, probe.place), ()), c)
    return Layout(
        ids=tuple(probe.id for probe in garden.probes),
        correction=np.array(correction, dtype=np.float64),
        hold_s=np.array(hold, dtype=np.int64),
        silent_s=np.array(silent, dtype=np.int64),
        low=np.array(low, dtype=np.float64),
        high=np.array(high, dtype=np.float64),
        step_0=np.array(s0, dtype=np.float64),
        step_10=np.array(s10, dtype=np.float64),
        step_60=np.array(s60, dtype=np.float64),
        stuck_s=np.array(stuck, dtype=np.int64),
        by_day=np.array(by_day, dtype=np.bool_),
        columns=columns,
    )


def columns_of(block: Block, layout: Layout) -> tuple[FloatArray, FlagArray]:
    """Values and flags of the garden's probes out of a block; NaN for one the block does not have."""
    if block.probes == layout.ids:
        return block.values, block.flags
    where = {probe: c for c, probe in enumerate(block.probes)}
    index = np.array([where.get(probe, -1) for probe in layout.ids], dtype=np.int64)
    if not len(block.probes):
        return np.full((len(block), len(index)), np.nan), np.zeros((len(block), len(index)), dtype=np.uint16)
    values = np.where(index >= 0, block.values[:, index], np.nan)
    return values, np.where(index >= 0, block.flags[:, index], 0).astype(np.uint16)


def flags_of_block(block: Block, layout: Layout, flags: FlagArray) -> FlagArray:
    """The garden's flags laid back into the block's own columns; unassigned probes are range-checked."""
    if block.probes == layout.ids:
        return flags
    low, high = UNASSIGNED_RANGE_C
    with np.errstate(invalid="ignore"):
        out_of_range = (block.values < low) | (block.values > high)
    result = block.flags | np.where(out_of_range, int(Flag.RANGE), 0).astype(np.uint16)
    where = {probe: c for c, probe in enumerate(block.probes)}
    for c, probe in enumerate(layout.ids):
        if probe in where:
            result[:, where[probe]] = flags[:, c]
    return result


@lru_cache(maxsize=64)
def limits_on(garden: Garden, day: date) -> BoxLimits:
    """The limits of every box on a local date."""
    of = tuple(garden.limits_for(name, day) for name in garden.box_names)

    def column(name: str) -> FloatArray:
        return np.array([getattr(limits, name) for limits in of], dtype=np.float64)

    return BoxLimits(
        of=of,
        heat_c=column("heat_c"),
        frost_c=column("frost_c"),
        soil_cold_c=column("soil_cold_c"),
        soil_hot_c=column("soil_hot_c"),
        known_empty=np.array([garden.known_empty(n, day) for n in garden.box_names], dtype=np.bool_),
        awaits_emergence=np.array(
            [garden.awaits_emergence(n, day) for n in garden.box_names], dtype=np.bool_
        ),
    )
