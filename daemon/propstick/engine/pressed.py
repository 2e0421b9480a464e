"""Does an air probe lie in the soil? By night it then stands nearly as warm as its soil probe.

By night a box's air stands between its soil and the outside, at a share of the way that differs from box to
box and less from night to night: 0.1 to 0.7 on most invented boxes (0 is the outside, 1 the soil), more in
the evening between walls of stone. A probe 2 cm deep in the bed read 0.73 to 0.96.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine.schedule import Day
from propstick.engine.usual import held, is_met, no_days, put, usual
from propstick.units import BoolArray, FloatArray

# Set on invented boxes; `tests.bench.upsets` measures them on others.
AS_SOIL, ABOVE_USUAL = 0.74, 0.24
"""Share from which on air is as soil, and how far it must lie above what is usual of the box."""
ENDS_BELOW, MOST = 0.08, 1.15
"""So far below that it has ended; above the last it is something else that is warm."""
TELLS_C, HARDLY_TELLS_C = 3.2, 1.2
"""Soil above outside from which on a night shows that a probe lies in the soil, and that it does not."""
DARK_MIN, AFTER_SUNSET_S = 150.0, 9000
"""So many minutes of the night are needed, and the dusk is left out: then walls are still warm."""
_SHUT = 0.05


@dataclass(frozen=True)
class NightWatch:
    """What is remembered from row to row; b boxes.

    Attributes:
        sums: Of this night so far: rows that tell, sums of air and of soil above the outside [°C], (3, b).
        nearest: How near to its soil the air has stood this night, as far as it tells, (b,); NaN not yet.
        shares: The same of past nights, (7, b). Walls warm from the day make the evening the nearest.
        as_soil: Whether the air reads as the soil, as last judged, (b,).
    """

    sums: FloatArray
    nearest: FloatArray
    shares: FloatArray
    as_soil: BoolArray


def start_nights(boxes: int) -> NightWatch:
    """Nothing seen yet."""
    unknown = np.full(boxes, np.nan)
    return NightWatch(np.zeros((3, boxes)), unknown, no_days(boxes), np.zeros(boxes, dtype=np.bool_))


def look_at_night(
    watch: NightWatch, rows: PlaceRows, *, day: Day, step_s: int, unusual: BoolArray
) -> tuple[NightWatch, BoolArray]:
    """The watch after rows of one local date, and whose air reads as its soil, (n, b).

    Args:
        unusual: Boxes whose nights must not be taken for usual, (n, b).
    """
    if not len(rows) or not (day.sun.known and day.sun.sets):
        return watch, np.broadcast_to(watch.as_soil, rows.air_c.shape)
    is_dark = (rows.time_s < day.sun.rise_s) | (rows.time_s >= day.sun.set_s + AFTER_SUNSET_S)
    lift, drop = (values - rows.outside_air_c[:, None] for values in (rows.air_c, rows.soil_c))
    tells = ~np.isnan(lift) & ~np.isnan(drop) & ~(rows.cover > 0.5) & ~(rows.lid > _SHUT)
    parts = np.stack([tells.astype(float), np.where(tells, lift, 0.0), np.where(tells, drop, 0.0)])
    found = []
    for first, stop in pairwise([0, *(np.flatnonzero(np.diff(is_dark)) + 1).tolist(), len(rows)]):
        if not is_dark[first]:
            watch = _over(watch, unusual[first])
            found.append(np.repeat(watch.as_soil[None], stop - first, axis=0))
            continue
        # Added up in order from what was carried, so that a cut anywhere gives the same sums.
        sums = np.add.accumulate(np.concatenate([watch.sums[:, None], parts[:, first:stop]], axis=1), axis=1)
        verdict, decided, share = _judged(watch, sums[:, 1:], step_s)
        found.append(held(decided, verdict, watch.as_soil))
        nearest = np.fmax(watch.nearest, np.fmax.reduce(share, axis=0))
        watch = NightWatch(sums[:, -1].copy(), nearest, watch.shares, found[-1][-1].copy())
    return watch, np.concatenate(found)


def _judged(watch: NightWatch, sums: FloatArray, step_s: int) -> tuple[BoolArray, BoolArray, FloatArray]:
    """Whether the air is as soil, where that can be judged, and at what share it stands; (n, b) each."""
    limit = np.where(is_met(watch.shares), np.maximum(AS_SOIL, usual(watch.shares) + ABOVE_USUAL), np.inf)
    share = _share(sums, step_s, TELLS_C)
    is_as_soil = (share >= limit) & (share <= MOST)
    is_air = _share(sums, step_s, HARDLY_TELLS_C) < limit - ENDS_BELOW
    return is_as_soil, is_as_soil | is_air, share


def _share(sums: FloatArray, step_s: int, tells_c: float) -> FloatArray:
    """How near to its soil the air stands, from rows and sums (3, …); NaN where the night does not tell."""
    rows, lift, drop = sums
    tells = (rows * (step_s / 60.0) >= DARK_MIN) & (drop >= tells_c * rows)
    return np.where(tells, lift, np.nan) / np.where(tells, drop, 1.0)


def _over(watch: NightWatch, unusual: BoolArray) -> NightWatch:
    """The night is over: where it told something usual, it goes on record."""
    if not watch.sums.any():
        return watch
    share = np.where(watch.as_soil | unusual, np.nan, watch.nearest)
    fresh = start_nights(len(share))
    return NightWatch(fresh.sums, fresh.nearest, put(watch.shares, share), watch.as_soil)
