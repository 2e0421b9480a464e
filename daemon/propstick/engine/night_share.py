"""Does a box's air stand where it should by night? Nearly at its soil, the probe lies in the bed; at the
outside though the lid is shown shut, the box does not shut, or the probe hangs outside: unless the boxes
beside it fell as well, or the box is alone and it was one night of wind.

By night a box's air stands between its soil and the outside, at a share of the way that differs from box to
box and less from night to night: 0.1 to 0.7 on most invented boxes (0 is the outside, 1 the soil), more in
the evening between walls of stone. A probe 2 cm deep in the bed read 0.73 to 0.96, one outside 0. A box whose
lid nobody shows is judged by `opening`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine.schedule import Day
from propstick.engine.telling_days import held, is_met, no_days, put, usual
from propstick.units import BoolArray, FloatArray

# Set on invented boxes; `tests.bench.upsets` measures them on others.
AS_SOIL, ABOVE_USUAL = 0.74, 0.24
"""Share from which on air is as soil, and how far it must lie above what is usual of the box."""
ENDS_BEYOND, MOST = 0.08, 1.15
"""So far beyond a limit it has ended; above the last it is something else that is warm."""
AS_OUTSIDE, BELOW_USUAL = 0.15, 0.21
"""Share up to which air is as the outside, and how far below what is usual of the box."""
TELLS_C, HARDLY_TELLS_C, SURELY_TELLS_C = 3.2, 1.2, 6.4
"""Soil above outside from which on a night shows that a probe lies in the soil, that it does not, and, of
a box by itself, that one night is enough to say that it does not shut: wind and cloud, which bring every
box near the outside, keep the outside near the soil."""
WEATHER_SHARE = 0.5
"""Boxes beside it that fell below their usual by more than this share of what this one did: the weather."""
DARK_MIN, AFTER_SUNSET_S = 150.0, 9000
"""So many minutes of the night are needed, and the dusk is left out: then walls are still warm."""
_SHUT, _SHOWN_SHARE = 0.05, 0.9


@dataclass(frozen=True)
class NightWatch:
    """What is remembered from row to row; b boxes.

    Attributes:
        sums: Of this night so far: rows that tell, sums of air and of soil above the outside [°C], and in how
            many of the rows the lid was shown, (4, b).
        nearest: How near to its soil the air has stood this night, as far as it tells, (b,); NaN not yet.
        shares: The same of past nights, (7, b). Walls warm from the day make the evening the nearest.
        means: Where the air stood in the mean of past nights, (7, b).
        was_near: Whether it stood as near to the outside as one that does not shut, on the last night that
            told, (b,).
        as_soil, as_outside: Whether the air reads as the soil, and as the outside, as last judged, (b,).
    """

    sums: FloatArray
    nearest: FloatArray
    shares: FloatArray
    means: FloatArray
    was_near: BoolArray
    as_soil: BoolArray
    as_outside: BoolArray


def start_nights(boxes: int) -> NightWatch:
    """Nothing seen yet."""
    none = np.zeros(boxes, dtype=np.bool_)
    unknown, past = np.full(boxes, np.nan), no_days(boxes)
    return NightWatch(np.zeros((4, boxes)), unknown, past, past.copy(), none, none.copy(), none.copy())


def look_at_night(
    watch: NightWatch, rows: PlaceRows, *, day: Day, step_s: int, unusual: BoolArray
) -> tuple[NightWatch, BoolArray, BoolArray]:
    """The watch after rows of one local date, whose air reads as its soil, and whose as the outside, (n, b).

    Args:
        unusual: Boxes whose nights must not be taken for usual, (n, b).
    """
    if not len(rows) or not (day.sun.known and day.sun.sets):
        as_now = (watch.as_soil, watch.as_outside)
        return watch, *(np.broadcast_to(holds, rows.air_c.shape) for holds in as_now)
    is_dark = (rows.time_s < day.sun.rise_s) | (rows.time_s >= day.sun.set_s + AFTER_SUNSET_S)
    if not is_dark.any():
        watch = _over(watch, step_s, unusual[0])
        shape = rows.air_c.shape
        return watch, np.broadcast_to(watch.as_soil, shape), np.broadcast_to(watch.as_outside, shape)
    lift, drop = (values - rows.outside_air_c[:, None] for values in (rows.air_c, rows.soil_c))
    tells = ~np.isnan(lift) & ~np.isnan(drop) & ~(rows.cover > 0.5) & ~(rows.lid > _SHUT)
    counted = (tells, np.where(tells, lift, 0.0), np.where(tells, drop, 0.0), tells & ~np.isnan(rows.lid))
    parts = np.stack([part.astype(float) for part in counted])
    as_soil, as_outside = [], []
    for first, stop in pairwise([0, *(np.flatnonzero(np.diff(is_dark)) + 1).tolist(), len(rows)]):
        if is_dark[first]:
            # Added up in order from what was carried, so that a cut anywhere gives the same sums.
            so_far = np.concatenate([watch.sums[:, None], parts[:, first:stop]], axis=1)
            sums = np.add.accumulate(so_far, axis=1)[:, 1:]
            share = _share(sums, step_s, TELLS_C)
            as_soil.append(_near_soil(watch, share, _share(sums, step_s, HARDLY_TELLS_C)))
            nearest = np.fmax(watch.nearest, np.fmax.reduce(share, axis=0))
            watch = replace(watch, sums=sums[:, -1].copy(), nearest=nearest, as_soil=as_soil[-1][-1].copy())
        else:
            watch = _over(watch, step_s, unusual[first])
            as_soil.append(np.repeat(watch.as_soil[None], stop - first, axis=0))
        as_outside.append(np.repeat(watch.as_outside[None], stop - first, axis=0))
    return watch, np.concatenate(as_soil), np.concatenate(as_outside)


def _near_soil(watch: NightWatch, share: FloatArray, hardly: FloatArray) -> BoolArray:
    limit = np.maximum(AS_SOIL, usual(watch.shares) + ABOVE_USUAL)
    limit = np.where(is_met(watch.shares), limit, np.inf)
    near = (share >= limit) & (share <= MOST)
    return held(near | (hardly < limit - ENDS_BEYOND), near, watch.as_soil)


def _share(sums: FloatArray, step_s: int, tells_c: float) -> FloatArray:
    """How near to its soil the air stands, from sums (4, …); NaN where the night does not tell."""
    rows, lift, drop = sums[:3]
    tells = (rows * (step_s / 60.0) >= DARK_MIN) & (drop >= tells_c * rows)
    return np.where(tells, lift, np.nan) / np.where(tells, drop, 1.0)


def _over(watch: NightWatch, step_s: int, unusual: BoolArray) -> NightWatch:
    """The night is over: was it as cold inside as outside? What was usual goes on record."""
    if not watch.sums.any():
        return watch
    tells_c = (TELLS_C, HARDLY_TELLS_C, SURELY_TELLS_C)
    mean, hardly, surely = (_share(watch.sums, step_s, least) for least in tells_c)
    is_shown = watch.sums[3] >= _SHOWN_SHARE * watch.sums[0]
    limit = np.minimum(AS_OUTSIDE, usual(watch.means) - BELOW_USUAL)
    limit = np.where(is_met(watch.means), limit, -np.inf)
    near = (mean <= limit) & is_shown
    fall = np.where(is_shown & ~watch.as_outside & ~unusual, usual(watch.means) - mean, np.nan)
    weather = _of_others(fall)
    by_itself = watch.was_near | ~np.isnan(surely)
    does_not_shut = near & np.where(np.isnan(weather), by_itself, weather <= WEATHER_SHARE * fall)
    as_outside = does_not_shut | (watch.as_outside & is_shown & ~(hardly > limit + ENDS_BEYOND))
    odd = watch.as_soil | as_outside | near | unusual
    fresh = start_nights(len(mean))
    return replace(
        watch,
        sums=fresh.sums,
        nearest=fresh.nearest,
        shares=put(watch.shares, np.where(odd, np.nan, watch.nearest)),
        means=put(watch.means, np.where(odd, np.nan, mean)),
        was_near=np.where(np.isnan(mean), watch.was_near, near),
        as_outside=as_outside,
    )


def _of_others(fall: FloatArray) -> FloatArray:
    """For each box the median of the others that tell, (b,); NaN where there is none."""
    found = np.full(len(fall), np.nan)
    for k in range(len(fall)):
        others = np.delete(fall, k)
        others = others[~np.isnan(others)]
        if len(others):
            found[k] = np.median(others)
    return found
