"""What sun a bare spot gets, from a week of a loose probe there: before any box stands on it.

An unshaded probe in the sun is warmer than shaded air by several degrees, in the shadow of a wall by a
fraction of that. So each third of an hour of the day is either in the sun or not; whether the sun shone at
all is witnessed by boxes, by other loose probes, and by the probe itself within three hours. What no clear
sky has shown yet stays open, and widens the interval.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time

import numpy as np

from propstick.growing.spots import LEAST_W_M2, MEMORY_H
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.times import DAY_S, at_local
from propstick.units import BoolArray, FloatArray, IntArray

GRAIN_S = 600
"""Readings are taken as means of ten minutes."""
SLOT_S = 1200
SLOTS = DAY_S // SLOT_S
POWER = 0.75
"""How the warmth of a probe in full sun grows with the sun on level ground: between a flat thing (1) and a
ball or a rod, which a low sun hits as squarely as a high one (about 0.5). Our reckoning."""
LIT = 0.4
"""In the sun from so much of the probe's own full warmth on: wind takes up to half of it, a wall's shadow
leaves a quarter to a third. 0.35 to 0.45 tried on simulated spots; 0.35 called shadows sun."""
LEAST_FULL_C = 2.5
"""An unshaded probe in full sun at 1000 W/m² is warmer than shaded air by more; one that is not lies in
shade all day or has a shield. Published shields without a fan still read 2 to 4 °C high (model, 2001)."""
NEAR_SLOTS = 9
"""The probe's own sun within three hours speaks for a clear sky, half as surely as another witness."""
ENOUGH = 2.0
"""Clear days, a doubtful one counting half, from which a slot is judged. Ours."""
MIXED = (0.25, 0.6)
"""Between these shares of its clear days a slot counts as in the sun or not, whichever is nearer, and the
interval holds both: leaves, or a sky that was not so clear."""
LEAST_CLEAR_DAYS = 3
WINDOW_D = 21
"""Days of the probe that count, back from its last: the sun climbs and trees leaf."""
WITNESS_SHARE, WITNESS_USUAL = 0.6, 0.5
"""A box says that the sun shines if it gains so much of the best of that hour, and of its usual best."""


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Sun without a break: UTC seconds on the day told, and the sun's bearing at either end [°]."""

    begin_s: int
    end_s: int
    from_deg: float
    to_deg: float


@dataclass(frozen=True, kw_only=True)
class LooseSun:
    """What a loose probe shows of its spot, for the last day it lay there if that were cloudless.

    Attributes:
        clear_days: Days on which the sky was seen clear for an hour at least.
        day: The day whose sun is told.
        well_up_h: Hours in which the sun stands high enough to be judged.
        sun_h: Of these, those in which it reaches the spot, with the stated 90 % interval.
        share: Share of their energy that reaches it, with the interval; hidden hours count as none.
        stretches: When, in order.
    """

    clear_days: int
    day: date
    well_up_h: float
    sun_h: float
    sun_low_h: float
    sun_high_h: float
    share: float
    share_low: float
    share_high: float
    stretches: tuple[Stretch, ...]


def gains(loose_c: FloatArray, shade_c: FloatArray, clear: FloatArray) -> FloatArray:
    """Warmth of a probe above shaded air, per sun there could be: about level in full sun, [°C] at
    1000 W/m²; NaN where the sun is not well up or nothing was measured. All of shape (n,)."""
    well_up = clear >= LEAST_W_M2
    return np.where(well_up, (loose_c - shade_c) / np.maximum(clear / 1000.0, 0.01) ** POWER, np.nan)


def full_gain(time_s: IntArray, gain: FloatArray, *, longitude: float) -> float | None:
    """What the probe gains in full sun, from its sunniest slots wherever it lay.

    Returns:
        None where it shows no sun at all.
    """
    _, slot = _solar(time_s, longitude)
    known = ~np.isnan(gain)
    best = [float(np.quantile(gain[known & (slot == one)], 0.85)) for one in np.unique(slot[known])]
    if not best:
        return None
    level = np.array(best)
    sunny = level[level >= 0.4 * float(np.quantile(level, 0.9))]
    full = float(np.median(sunny)) if len(sunny) else 0.0
    return full if full >= LEAST_FULL_C else None


def box_witness(
    time_s: IntArray, inside_c: FloatArray, outside_c: FloatArray, clear: FloatArray, *, longitude: float
) -> BoolArray:
    """When a box says that the sun shines, by how it warms; never in hours in which it is in shade itself.

    A lid that was opened hides the sun from it: then it does not say so, and nothing false follows.
    """
    excess = inside_c - outside_c
    warming = np.full(len(excess), np.nan)
    warming[2:-2] = (excess[4:] - excess[:-4]) / (4 * GRAIN_S / 3600.0)
    gain = np.where(clear >= LEAST_W_M2, (warming + excess / MEMORY_H) / np.maximum(clear, 1.0), np.nan)
    _, slot = _solar(time_s, longitude)
    best = np.full(SLOTS, np.nan)
    for one in np.unique(slot[~np.isnan(gain)]):
        best[one] = float(np.nanquantile(gain[slot == one], 0.9))
    known = best[~np.isnan(best)]
    if not len(known):
        return np.zeros(len(time_s), dtype=bool)
    usual = float(np.median(known))
    # A comparison with NaN is false: what is not known is no witness.
    return (gain >= WITNESS_SHARE * best[slot]) & (gain >= WITNESS_USUAL * usual) & (usual > 0.0)


def clear_days(time_s: IntArray, relative: FloatArray, shines: BoolArray, *, longitude: float) -> int:
    """Days on which the sky was seen clear for an hour at least while the probe lay there."""
    rel, out = _by_slot(time_s, relative, shines, longitude)
    seen = ((rel >= LIT) | out) & ~np.isnan(rel)
    return int((seen.sum(axis=1) * SLOT_S >= 3600).sum())


def loose_sun(
    time_s: IntArray,
    relative: FloatArray,
    shines: BoolArray,
    *,
    day: date,
    latitude: float,
    longitude: float,
    zone: str | None = None,
) -> LooseSun | None:
    """Sun of a spot from a loose probe.

    Args:
        time_s: Moments while a probe lay there, ten minutes apart or less, shape (n,).
        relative: `gains` as a share of that probe's `full_gain`, shape (n,).
        shines: Whether another witness saw the sun, shape (n,).
        day: The day whose sun is told: the last on which it lay there.

    Returns:
        None with fewer than three clear days, or where most of the day's course was never seen clear.
    """
    days = clear_days(time_s, relative, shines, longitude=longitude)
    if days < LEAST_CLEAR_DAYS:
        return None
    lit, doubtful = _judged(*_by_slot(time_s, relative, shines, longitude))
    start_s = at_local(day, time(0), zone)
    first = -(-start_s // GRAIN_S) * GRAIN_S
    fine_s = first + GRAIN_S * np.arange(DAY_S // GRAIN_S)
    elevation, azimuth = solar_position(fine_s + GRAIN_S / 2, latitude, longitude)
    energy = clear_sky_w_m2(elevation)
    well_up = energy >= LEAST_W_M2
    if not well_up.any():
        return None
    _, slot = _solar(fine_s + GRAIN_S // 2, longitude)
    fine_s, azimuth, energy, slot = (one[well_up] for one in (fine_s, azimuth, energy, slot))
    state, open_ = lit[slot], doubtful[slot]
    if open_.mean() > 0.5:
        return None
    # A shadow's edge lies somewhere in its slot, comes late by the probe's lag, and wanders within weeks.
    edges = np.flatnonzero((state[1:] != state[:-1]) & ~open_[1:] & ~open_[:-1])
    low = np.where(open_, 0.0, state)
    high = np.where(open_, 1.0, state)
    step_h = GRAIN_S / 3600.0
    slack_h = SLOT_S / 3600.0 * len(edges)
    slack_e = SLOT_S / GRAIN_S * float(energy[edges].sum())
    whole, total_h = float(energy.sum()), float(len(energy)) * step_h
    return LooseSun(
        clear_days=days,
        day=day,
        well_up_h=total_h,
        sun_h=float(state.sum()) * step_h,
        sun_low_h=max(0.0, float(low.sum()) * step_h - slack_h),
        sun_high_h=min(total_h, float(high.sum()) * step_h + slack_h),
        share=float((energy * state).sum()) / whole,
        share_low=max(0.0, (float((energy * low).sum()) - slack_e) / whole),
        share_high=min(1.0, (float((energy * high).sum()) + slack_e) / whole),
        stretches=_stretches(fine_s, state, azimuth),
    )


def _solar(time_s: IntArray, longitude: float) -> tuple[IntArray, IntArray]:
    """Day and slot of the mean sun there, so that midnight never falls into a day of sun."""
    at_s = time_s + round(240.0 * longitude)
    return at_s // DAY_S, (at_s % DAY_S) // SLOT_S


def _by_slot(
    time_s: IntArray, relative: FloatArray, shines: BoolArray, longitude: float
) -> tuple[FloatArray, BoolArray]:
    """Means of each day's slots, (d, 72), NaN where nothing was measured; and where the sun was witnessed."""
    day, slot = _solar(time_s, longitude)
    known = ~np.isnan(relative)
    days, row = np.unique(day, return_inverse=True)
    cell = row * SLOTS + slot
    size = len(days) * SLOTS
    count = np.bincount(cell[known], minlength=size)
    total = np.bincount(cell[known], weights=relative[known], minlength=size)
    mean = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    # All of a slot's moments: half of one in a gap of the clouds proves no shadow.
    said = np.bincount(cell[known & shines], minlength=size)
    return mean.reshape(-1, SLOTS), ((said == count) & (count > 0)).reshape(-1, SLOTS)


def _judged(rel: FloatArray, out: BoolArray) -> tuple[FloatArray, BoolArray]:
    """Of each slot, whether it is in the sun (0 or 1), and whether that is open; (72,) each.

    What was never seen clear goes by its nearest neighbour, and stays open.
    """
    own = np.nan_to_num(rel) >= LIT
    near = np.zeros_like(own)
    for back in range(1, NEAR_SLOTS + 1):
        near[:, back:] |= own[:, :-back]
        near[:, :-back] |= own[:, back:]
    weight = np.where(own | out, 1.0, np.where(near, 0.5, 0.0)) * ~np.isnan(rel)
    clear = weight.sum(axis=0)
    share = (weight * own).sum(axis=0) / np.maximum(clear, 1e-9)
    known = np.flatnonzero(clear >= ENOUGH)
    lit = np.zeros(SLOTS)
    if len(known):
        nearest = known[np.abs(np.arange(SLOTS)[:, None] - known).argmin(axis=1)]
        lit = (share[nearest] >= sum(MIXED) / 2).astype(float)
    return lit, (clear < ENOUGH) | ((share > MIXED[0]) & (share < MIXED[1]))


def _stretches(fine_s: IntArray, state: FloatArray, azimuth: FloatArray) -> tuple[Stretch, ...]:
    padded = np.concatenate([[0.0], state, [0.0]])
    turns = np.flatnonzero(np.diff(padded))
    return tuple(
        Stretch(
            begin_s=int(fine_s[begin]),
            end_s=int(fine_s[end - 1]) + GRAIN_S,
            from_deg=float(azimuth[begin]),
            to_deg=float(azimuth[end - 1]),
        )
        for begin, end in zip(turns[::2].tolist(), turns[1::2].tolist(), strict=True)
    )
