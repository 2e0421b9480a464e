"""What the heat forecast looks at: paths of the next hour under three skies, trends, the sun's height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine.heat_prior import BEND_OFFSETS, BENDS, CENTRES, SPREADS
from propstick.engine.paths import CLOUD_FORGOTTEN_MIN, moments_of, run_minutes
from propstick.engine.trace import Trace
from propstick.garden import Site
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.units import BoolArray, FloatArray, IntArray

AHEAD_MIN = 60
SUN_PAST_MIN = 90
_STANDS_MIN = 600.0
_BRIGHTENS_MIN = 3.0
_PLAIN_LASTS_MIN = 40.0
_FARTHEST = 5.0


@dataclass(frozen=True)
class Outlook:
    """Paths and trends at m moments for b boxes; limits come later.

    Attributes:
        path_c: Minute by minute under the sky as it was, as it is, and bright, (60, 3, m, b).
        air5_c, slope10, slope5, slope45: As in the trace, (m, b).
        outside_gap_c, soil_gap_c: Outside and soil above the air, (m, b).
        sun_w_m2, sun_rise_w_m2: Clear-sky sun now, and its change in half an hour, (m,).
        swing_c: How much the passing clouds of the last hour and a half move the air, (m, b).
        sun, sun_slow, sun_bright, sun_spread: The sun index now, its slow mean, and the bright end and
            the spread of the last hour and a half, (m, b).
        lid: Opening assumed, (m, b).
        usable: Whether there is anything to forecast from, (m, b).
    """

    path_c: FloatArray
    air5_c: FloatArray
    slope10: FloatArray
    slope5: FloatArray
    slope45: FloatArray
    outside_gap_c: FloatArray
    soil_gap_c: FloatArray
    sun_w_m2: FloatArray
    sun_rise_w_m2: FloatArray
    swing_c: FloatArray
    sun: FloatArray
    sun_slow: FloatArray
    sun_bright: FloatArray
    sun_spread: FloatArray
    lid: FloatArray
    usable: BoolArray


def outlook_at(
    trace: Trace, rows: IntArray, sun_past: FloatArray, site: Site, *, lid: FloatArray | None = None
) -> Outlook:
    """The outlook at some rows of a trace.

    Args:
        sun_past: Sun index of the last 90 min at these rows, oldest first, (k, m, b); NaN unknown.
    """
    m = len(rows)
    ahead = 60 * np.arange(1, AHEAD_MIN + 1)
    if site.has_sun:
        times = trace.time_s[rows][:, None] + ahead
        clear = clear_sky_w_m2(solar_position(times, site.latitude, site.longitude)[0])
    else:
        clear = np.zeros((m, AHEAD_MIN))
    start = moments_of(trace, rows, lid=lid)
    mean, spread, bright = _of_past(sun_past, start.sun, start.sun_slow)
    skies = np.stack([0.5 * (mean + start.sun_slow), start.sun, bright])
    forget = np.array([CLOUD_FORGOTTEN_MIN, _STANDS_MIN, _BRIGHTENS_MIN])[:, None, None]
    path = run_minutes(start, clear, skies, forget)
    # The same start for all: what the model misses now it will miss later.
    air5, slope10 = trace.air5_c[rows], np.nan_to_num(trace.slope10[rows])
    plain = _plain_path(air5, slope10)
    known = trace.outside_known[rows][:, None]
    path = np.where(known, path, plain[:, None])
    now_w_m2 = trace.clear_sky_w_m2[rows]
    gain = np.abs(path[29, 2] - path[29, 0])
    share = spread / np.maximum(np.abs(bright - skies[0]), 0.1)
    return Outlook(
        path_c=path,
        air5_c=air5,
        slope10=slope10,
        slope5=np.nan_to_num(trace.slope5[rows]),
        slope45=np.nan_to_num(trace.slope45[rows]),
        outside_gap_c=np.where(known, trace.outside_c[rows][:, None] - air5, 0.0),
        soil_gap_c=start.soil_c - air5,
        sun_w_m2=now_w_m2,
        sun_rise_w_m2=clear[:, 29] - now_w_m2,
        swing_c=gain * np.minimum(share, 3.0),
        sun=start.sun,
        sun_slow=start.sun_slow,
        sun_bright=bright,
        sun_spread=spread,
        lid=start.lid,
        usable=trace.known[rows] & ~np.isnan(air5),
    )


def _of_past(
    past: FloatArray, sun: FloatArray, slow: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, spread and bright end of the recent sun index, each (m, b)."""
    known = ~np.isnan(past)
    count, total, square, most = np.zeros(sun.shape), np.zeros(sun.shape), np.zeros(sun.shape), sun.copy()
    for k in range(len(past)):
        gap = np.where(known[k], past[k] - slow, 0.0)
        count += known[k]
        total += gap
        square += gap * gap
        most = np.maximum(most, np.where(known[k], past[k], sun))
    some = np.maximum(count, 1.0)
    mean = total / some
    spread = np.sqrt(np.maximum(square / some - mean * mean, 0.0))
    return slow + mean, spread, most


def _plain_path(air_c: FloatArray, slope: FloatArray) -> FloatArray:
    """Where no outside air is known: the present slope, dying out, (60, m, b)."""
    minutes = np.arange(1.0, AHEAD_MIN + 1.0)[:, None, None]
    return air_c + slope * _PLAIN_LASTS_MIN * -np.expm1(-minutes / _PLAIN_LASTS_MIN)


FEATURES = (
    "one", "gap", "gap20", "gap30", "gap60", "abs_gap30", "root_gap", "line", "abs_line", "slope10",
    "outside", "soil", "slope45", "slope5", "sun_height", "sun_rise", "stand30", "abs_stand30", "bright30",
    "abs_bright30", "swing", "surprise30", "stand60", "bright60", "sun", "sun_slow", "sun_bright",
    "sun_spread", "lid",
)  # fmt: skip


def features_of(outlook: Outlook, limit_c: FloatArray) -> FloatArray:
    """What the formula weighs, for a limit per moment and box: (m, b, F).

    First the features of `FEATURES`, standardised; then what their bends say. The bends (tanh of fixed
    mixtures, fitted to invented weather) let a formula that is learnt as a straight one follow corners:
    a limit just out of reach matters otherwise than one far above.
    """
    raw = np.nan_to_num(raw_features(outlook, limit_c))
    plain = np.clip((raw - np.array(CENTRES)) / np.array(SPREADS), -_FARTHEST, _FARTHEST)
    weights = np.array(BENDS)
    mixed = np.zeros((*plain.shape[:2], len(weights))) + np.array(BEND_OFFSETS)
    for f in range(len(FEATURES)):
        # Spelt out: a matrix product rounds by the shape of the block.
        mixed += plain[..., f, None] * weights[:, f]
    return np.concatenate([plain, np.tanh(mixed)], axis=-1)


def raw_features(outlook: Outlook, limit_c: FloatArray) -> FloatArray:
    """The features in the order of `FEATURES`, as they are, (m, b, F)."""
    gap = limit_c - outlook.air5_c
    path = outlook.path_c
    gap20, gap30, gap60 = (limit_c - path[k - 1, 0] for k in (20, 30, 60))
    stand30, bright30 = limit_c - path[29, 1], limit_c - path[29, 2]
    line = gap - 20.0 * outlook.slope10
    ones = np.ones_like(gap)
    return np.stack([
        ones, gap, gap20, gap30, gap60, np.abs(gap30), np.sqrt(np.maximum(gap, 0.0)), line, np.abs(line),
        outlook.slope10, outlook.outside_gap_c / 3.0, outlook.soil_gap_c / 3.0, 30.0 * outlook.slope45,
        10.0 * outlook.slope5, ones * (outlook.sun_w_m2 / 500.0)[:, None],
        ones * (outlook.sun_rise_w_m2 / 100.0)[:, None], stand30, np.abs(stand30), bright30,
        np.abs(bright30), outlook.swing_c, gap30 / (0.5 + outlook.swing_c), limit_c - path[59, 1],
        limit_c - path[59, 2], outlook.sun, outlook.sun_slow, outlook.sun_bright, outlook.sun_spread,
        outlook.lid,
    ], axis=-1)  # fmt: skip
