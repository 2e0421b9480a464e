"""Skies that last hours and clouds that last minutes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.simulation.series import lagged_noise, relax
from propstick.units import FloatArray, IntArray

CLEAR, BROKEN, STRATUS, FRONT = range(4)

_NEXT = np.array([
    # to clear, broken, stratus, front
    [0.00, 0.45, 0.35, 0.20],
    [0.45, 0.00, 0.25, 0.30],
    [0.35, 0.25, 0.00, 0.40],
    [0.25, 0.50, 0.25, 0.00],
])  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class SkyKnobs:
    """Median length of each sky in hours, and its spread. Invented, no source."""

    clear_h: float = 16.0
    broken_h: float = 7.0
    stratus_h: float = 9.0
    front_h: float = 5.0
    spread: float = 0.7
    first: int | None = None
    """The sky at the start: 0 clear, 1 broken, 2 stratus, 3 front; None draws it."""


def draw_regimes(n: int, *, rng: np.random.Generator, knobs: SkyKnobs) -> IntArray:
    """Which sky rules each minute: a chain of skies with drawn lengths."""
    medians = (knobs.clear_h, knobs.broken_h, knobs.stratus_h, knobs.front_h)
    out = np.empty(n, dtype=np.int64)
    sky = int(rng.integers(4)) if knobs.first is None else knobs.first
    row = 0
    while row < n:
        minutes = max(int(60.0 * medians[sky] * np.exp(knobs.spread * rng.standard_normal())), 30)
        out[row : row + minutes] = sky
        row += minutes
        sky = int(rng.choice(4, p=_NEXT[sky]))
    return out


def cloud_of_regimes(
    regimes: IntArray, elevation_deg: FloatArray, *, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Opacity before the sun, cover of the sky, and rain [mm/h] of a chain of skies."""
    n = len(regimes)
    slow = lagged_noise(n, 180.0, rng=rng)
    # Fair-weather cumulus lives on sun-warmed ground and dies in the evening.
    lively = relax(np.clip((elevation_deg - 3.0) / 20.0, 0.0, 1.0), 60.0)
    cover_of = np.stack([
        np.clip(0.05 + 0.05 * slow, 0.0, 0.2),
        np.clip((0.15 + 0.40 * lively) + 0.15 * slow, 0.05, 0.85),
        np.clip(0.92 + 0.08 * slow, 0.6, 1.0),
        np.clip(0.98 + 0.03 * slow, 0.85, 1.0),
    ])  # fmt: skip
    cover = np.clip(relax(np.take_along_axis(cover_of, regimes[None], axis=0)[0], 25.0), 0.0, 1.0)
    patches = _patches(cover, rng=rng)
    thin = np.clip(0.75 + 0.2 * lagged_noise(n, 45.0, rng=rng), 0.35, 0.98)
    sheet = np.clip(0.93 + 0.10 * lagged_noise(n, 60.0, rng=rng), 0.4, 1.0)
    cloud_of = np.stack([0.4 * patches * thin, patches * thin, sheet * cover, np.minimum(sheet + 0.06, 1.0)])
    cloud = relax(np.take_along_axis(cloud_of, regimes[None], axis=0)[0], 0.7)
    wet = np.maximum(lagged_noise(n, 40.0, rng=rng) + 0.2, 0.0)
    rain = np.where(regimes == FRONT, 1.2 * wet * wet, 0.0)
    return np.clip(cloud, 0.0, 1.0), cover, rain


def _patches(cover: FloatArray, *, rng: np.random.Generator) -> FloatArray:
    """1 while a cloud stands before the sun. A cloud passes in some minutes; gaps follow from the cover."""
    n = len(cover)
    passing_min = 4.0 * np.exp(0.5 * lagged_noise(n, 240.0, rng=rng))
    share = np.clip(cover, 0.02, 0.97)
    leave = np.clip(1.0 / passing_min, 0.0, 0.8)
    arrive = np.clip(leave * share / (1.0 - share), 0.0, 0.9)
    chance = rng.random(n)
    out, inside = [], bool(chance[0] < share[0])
    for draw, out_p, in_p in zip(chance.tolist(), leave.tolist(), arrive.tolist(), strict=True):
        inside = draw >= out_p if inside else draw < in_p
        out.append(1.0 if inside else 0.0)
    return np.array(out)
