"""The loop of the observer: pulls the box model towards the readings, row by row, all copies at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine.fit import N_RATES, NUDGE_LOG, rates_of
from propstick.engine.trace import COVER_LOSS, COVER_SUN, LID_BANK
from propstick.physics.box import BoxRates, air_exchange
from propstick.units import BoolArray, FloatArray

MAIN = 0
NUDGED = slice(1, 1 + N_RATES)
BANK = slice(1 + N_RATES, 1 + N_RATES + len(LID_BANK))
COPIES = 1 + N_RATES + len(LID_BANK)
AIR, SURFACE, SUN, SUN_SLOW, CHILL = range(5)

# Gains per minute, tuned on invented boxes; the notes in DEVELOPERS.md say how.
_AIR_GAIN = 0.35
_SURFACE_GAIN = 0.15
_SUN_GAIN = 0.15
_CHILL_GAIN = 0.01
_CHILL_RANGE = (-0.1, 0.25)
_CLOUD_FORGOTTEN_MIN = 12.0
_SUN_SLOW_MIN = 60.0
_SUN_MOST = 2.5
_SUN_ERROR_MOST_C = 1.5
# Without a site the sun is unknown: all unexplained warmth is one slowly forgotten flux.
_BLIND_GAIN = 0.06
_BLIND_RANGE = (-3.0, 3.0)
_BLIND_FORGOTTEN_MIN = 60.0
_LID_SHUT = 0.05


@dataclass(frozen=True)
class Drive:
    """What the filter loop reads, row by row: a stretch of rows with one set of rates."""

    air_c: FloatArray  # (n, b), 0 where silent
    known: FloatArray  # (n, b), 1 where read
    snap: FloatArray  # (n, b), True where a box speaks again after a silence
    outside_c: FloatArray  # (n,)
    bank_outside_c: FloatArray  # (n,)
    soil_c: FloatArray  # (n, b), NaN where unknown
    lid: FloatArray  # (n, b)
    cover: FloatArray  # (n, b)
    sun_c: FloatArray  # (n,) warming by a clear sky [°C/min]
    by_day: FloatArray  # (n,) bool


def run_filter(
    drive: Drive,
    *,
    nodes: FloatArray,
    soil_c: FloatArray,
    chill_slow: FloatArray,
    theta: FloatArray,
    minutes: float,
    blind: bool,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """The loop over rows: nodes (n, 5, 11, b), errors (n, 11, b), soil (n, b), slow chill (n, b)."""
    n, b = drive.air_c.shape
    dt = minutes
    rates = _rates_of_copies(theta)
    lids = np.repeat(drive.lid[:, None], COPIES, axis=1)
    lids[:, BANK] = np.array(LID_BANK)[:, None]
    covered = drive.cover[:, None]
    exchange = dt * air_exchange(rates, lids) * (1.0 - (1.0 - COVER_LOSS) * covered)
    outside = np.repeat(drive.outside_c[:, None], COPIES, axis=1)
    outside[:, BANK] = drive.bank_outside_c[:, None]
    from_outside = exchange * outside[:, :, None]
    soil_air = dt * rates.soil_air
    shrink = 1.0 / (1.0 + exchange + soil_air)
    sun_c = (dt * drive.sun_c)[:, None] * (1.0 - (1.0 - COVER_SUN) * drive.cover)  # (n, b)
    surface_air = dt * rates.surface_air
    surface_soil = dt * rates.surface_soil
    surface_keep = 1.0 - surface_air - surface_soil
    from_soil = surface_soil * np.where(np.isnan(drive.soil_c), 0.0, drive.soil_c)[:, None]
    surface_sun = rates.surface_sun

    air_gain, surface_gain, sun_gain, chill_gain = (
        1.0 - (1.0 - g) ** dt
        for g in (_AIR_GAIN, _SURFACE_GAIN, _SUN_GAIN, _BLIND_GAIN if blind else _CHILL_GAIN)
    )
    cloud_keep = float(np.exp(-dt / _CLOUD_FORGOTTEN_MIN))
    slow_gain = float(-np.expm1(-dt / _SUN_SLOW_MIN))
    chill_keep = float(np.exp(-dt / _BLIND_FORGOTTEN_MIN)) if blind else 1.0
    low, high = _BLIND_RANGE if blind else _CHILL_RANGE
    to_slow = float(-np.expm1(-dt / 1200.0))
    bank_pull = 1.0 - 0.99**dt
    sun_scale = np.where(sun_c > 1e-6, sun_gain * dt / np.maximum(sun_c, 1e-6), 0.0)

    # With the lid up the chill is the wind's as much as the sky's: only a shut box tells the sky's.
    to_slow_shut = to_slow * ((drive.lid < _LID_SHUT) & (drive.cover < 0.5)) * drive.known
    nodes_out, errors_out = np.empty((n, 5, COPIES, b)), np.empty((n, COPIES, b))
    chills_out = np.empty((n, b))
    soils = np.where(np.isnan(drive.soil_c), np.nan, drive.soil_c)
    nodes = nodes.copy()
    air, surface, sun, sun_slow, chill = nodes
    soil, chill_slow = soil_c.copy(), chill_slow.copy()
    model, warm, part, error = (np.empty((COPIES, b)) for _ in range(4))
    soil_missing = np.isnan(drive.soil_c).any(axis=1).tolist()
    snaps, by_day = drive.snap.any(axis=1).tolist(), drive.by_day.tolist()
    lit = (drive.sun_c > 0.0).tolist()
    for i in range(n):
        if snaps[i]:
            _start_afresh(nodes, drive.snap[i], drive.air_c[i], drive.soil_c[i])
        if soil_missing[i]:
            # A soil probe that is silent or absent: the soil follows its surface slowly.
            drift = np.where(np.isnan(soil), surface[MAIN], soil + 0.01 * dt * (surface[MAIN] - soil))
            soil = np.where(np.isnan(drive.soil_c[i]), drift, drive.soil_c[i])
            from_soil[i] = surface_soil * soil
            soils[i] = soil
        else:
            soil = drive.soil_c[i]
        np.multiply(soil_air, surface, out=model)
        model += air
        model += from_outside[i]
        model -= chill * dt if dt != 1.0 else chill
        surface *= surface_keep
        surface += from_soil[i]
        if lit[i]:
            np.multiply(sun, sun_c[i], out=warm)
            model += warm
            warm *= surface_sun
            surface += warm
        model *= shrink[i]
        np.multiply(surface_air, model, out=part)
        surface += part
        np.subtract(drive.air_c[i], model, out=error)
        error *= drive.known[i]
        np.multiply(error, air_gain, out=part)
        np.add(model, part, out=air)
        np.multiply(error, surface_gain, out=part)
        surface += part
        sun -= sun_slow
        sun *= cloud_keep
        sun += sun_slow
        if by_day[i]:
            np.minimum(error, _SUN_ERROR_MOST_C, out=part)
            np.maximum(part, -_SUN_ERROR_MOST_C, out=part)
            part *= sun_scale[i]
            sun += part
            np.maximum(sun, 0.0, out=sun)
            np.minimum(sun, _SUN_MOST, out=sun)
            np.subtract(sun, sun_slow, out=part)
            part *= slow_gain
            sun_slow += part
        else:
            np.multiply(error, chill_gain, out=part)
            chill -= part
            chill[BANK] += bank_pull * (chill_slow - chill[BANK])
            if blind:
                chill *= chill_keep
            np.maximum(chill, low, out=chill)
            np.minimum(chill, high, out=chill)
            chill_slow += to_slow_shut[i] * (chill[MAIN] - chill_slow)
        chills_out[i] = chill_slow
        nodes_out[i] = nodes
        errors_out[i] = error
    return nodes_out, errors_out, soils, chills_out


def _rates_of_copies(theta: FloatArray) -> BoxRates:
    """Rates of every copy, six arrays (11, b): the nudged ones differ in one logarithm each."""
    copies = np.repeat(theta[:, None], COPIES, axis=1)
    for k in range(N_RATES):
        copies[k, 1 + k] += NUDGE_LOG
    return rates_of(copies)


def _start_afresh(nodes: FloatArray, snap: BoolArray, air_c: FloatArray, soil_c: FloatArray) -> None:
    """A box that speaks again after a silence is where it says it is; its soil surface lies between."""
    surface = np.where(np.isnan(soil_c), air_c, 0.5 * (air_c + soil_c))
    nodes[AIR] = np.where(snap, air_c, nodes[AIR])
    nodes[SURFACE] = np.where(snap, surface, nodes[SURFACE])
