"""How much warmer than outside a box stays at night: shut, propped, open, covered. What a hand would give.

The lift of a night is the box's minimum above the outside's. Shut nights teach each box its own; what an
open lid leaves of it and what a cover adds start from figures of simulated boxes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.units import FloatArray

OPENINGS = (0.0, 0.1, 0.3, 1.0)
LEFT = (1.0, 0.64, 0.24, 0.11)
"""Share of a shut box's lift left at each opening: gains of closing 0.36, 0.76, 0.89 °C beside a lift of 1 °C
on simulated boxes; no other authority."""
COVER_RATIO = 1.67
"""Lift under a cover over that without: a mat leaves about 0.6 of the loss; common practice, no source."""
PRIOR_LIFT_C = 1.5
PRIOR_NIGHTS = 3.0
FORGETTING = 0.95


@dataclass(frozen=True)
class ShelterState:
    """Mean lift of shut bare nights [°C] and covered over bare lift, with the nights in each; shape (b,)."""

    lift_c: FloatArray
    nights: FloatArray
    cover_ratio: FloatArray
    covered_nights: FloatArray


@dataclass(frozen=True)
class Gains:
    """What the night's minimum would gain by each action now, shape (b,) [°C]; 0 where it is done."""

    closing_c: FloatArray
    covering_c: FloatArray
    """Closing and covering together."""


def no_nights(boxes: int) -> ShelterState:
    """Before the first night."""
    none = np.zeros(boxes)
    return ShelterState(none + PRIOR_LIFT_C, none, none + COVER_RATIO, none)


def left_at(lid: FloatArray) -> FloatArray:
    """Share of the lift left at that opening; an unknown lid is taken for shut."""
    return np.interp(np.where(np.isnan(lid), 0.0, lid), OPENINGS, LEFT)


def gains(state: ShelterState, *, lid: FloatArray, cover: FloatArray) -> Gains:
    """What closing, and covering too, would give from how the boxes stand now."""
    covered = np.nan_to_num(cover) > 0.5
    has = state.lift_c * left_at(lid) * np.where(covered, state.cover_ratio, 1.0)
    shut = state.lift_c * np.where(covered, state.cover_ratio, 1.0)
    return Gains(
        closing_c=np.maximum(shut - has, 0.0),
        covering_c=np.maximum(state.lift_c * state.cover_ratio - has, 0.0),
    )


def learn(
    state: ShelterState, *, box_min_c: FloatArray, outside_min_c: float, lid: FloatArray, cover: FloatArray
) -> ShelterState:
    """The state after a night.

    Args:
        lid, cover: Through the night, NaN where unknown or moved, shape (b,).
    """
    lift = box_min_c - outside_min_c
    known = ~np.isnan(lift)
    covered = np.nan_to_num(cover) > 0.5
    bare = known & ~(lid >= 0.05) & ~covered
    n = np.where(bare, FORGETTING * state.nights + 1.0, state.nights)
    rate = np.where(bare, 1.0 / (n + PRIOR_NIGHTS), 0.0)
    lift_c = state.lift_c + rate * np.where(bare, np.maximum(lift, 0.0) - state.lift_c, 0.0)
    tells = known & ~(lid >= 0.05) & covered & (state.lift_c > 0.5)
    m = np.where(tells, FORGETTING * state.covered_nights + 1.0, state.covered_nights)
    ratio = np.clip(np.where(tells, lift, 0.0) / np.maximum(state.lift_c, 0.5), 1.0, 4.0)
    step = np.where(tells, 1.0 / (m + PRIOR_NIGHTS), 0.0)
    return ShelterState(lift_c, n, state.cover_ratio + step * (ratio - state.cover_ratio), m)
