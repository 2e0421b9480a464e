"""How much the outside air will still rise today: a regression of its own, learnt every evening.

Of all that makes up the day's maximum in a box this is the least certain part, and the same for all.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.engine import rise_prior
from propstick.engine.evening import Window
from propstick.engine.nights import HOUR_S, Daylight
from propstick.engine.slots import SLOT_S, Slots
from propstick.garden import Site
from propstick.physics.air import dew_point_of_air_c
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.units import FloatArray

CLASSES = 4
"""Issues before sunrise + 30 min, before + 2 h, before + 4 h, later."""
ISSUE_HOURS = (-1, 1, 3, 5)
"""Hours after sunrise at which each class is learnt."""
NAMES = (
    "constant", "noon_sun", "last_rise", "mean_rise", "upper_rise", "change_1h", "change_3h", "below_24h_max",
    "soil_over_air", "since_yesterday", "dew_gap",
)  # fmt: skip
"""Columns of `_features`, and of the prior."""
DAYS = 20
SAMPLE_WEIGHT = 0.6
FORGETTING = 0.99
_PRIOR_RISE_C = np.array([7.0, 6.5, 4.0, 2.0])
"""Until a day has been seen; tuned, no other authority."""
_PER_HOUR = HOUR_S // SLOT_S


@dataclass(frozen=True)
class RiseState:
    """Carried from day to day; k issue classes, f features.

    Attributes:
        past_c: Rises of the last days from each class, newest last, NaN = none, shape (k, DAYS).
        precision, vector: Information form of the regression, shapes (k, f, f), (k, f).
        square_c2, weight: Running mean of squared errors and days in it, shape (k,).
    """

    past_c: FloatArray
    precision: FloatArray
    vector: FloatArray
    square_c2: FloatArray
    weight: FloatArray


@dataclass(frozen=True)
class Rise:
    """The outside's rise from now to its maximum: forecast, spread, and the plain mean of past ones [°C]."""

    rise_c: float
    sd_c: float
    mean_c: float


def no_days() -> RiseState:
    """Before the first day: the prior decides."""
    precision, vector = _prior()
    nothing = np.zeros(CLASSES)
    return RiseState(np.full((CLASSES, DAYS), np.nan), precision, vector, nothing, nothing)


def issue_class(day: Daylight, time_s: int) -> int:
    """Which regression a forecast issued then belongs to."""
    hours = (time_s - day.sunrise_s) / HOUR_S
    return int(hours > 0.5) + int(hours > 2.0) + int(hours > 4.0)


def issue_time_s(day: Daylight, hours: int) -> int:
    """End of the slot that many hours after sunrise, at which a day is learnt from."""
    return -(-(day.sunrise_s + hours * HOUR_S) // SLOT_S) * SLOT_S


def rise(state: RiseState, slots: Slots, day: Daylight, *, time_s: int, site: Site) -> Rise:
    """The rise to expect from `time_s` on; NaN where the outside air is unknown."""
    k = issue_class(day, time_s)
    x = _features(state, slots, day, time_s, site)
    coefficient = np.linalg.solve(state.precision[k], state.vector[k])
    value = max(float((_filled(x) * coefficient).sum()), 0.0)
    noise, n = rise_prior.NOISE_C[k], state.weight[k]
    sd = float(np.sqrt((8.0 * noise * noise + n * state.square_c2[k]) / (8.0 + n)))
    outside = _outside_c(slots, time_s)
    return Rise(value if not np.isnan(outside) else float("nan"), sd, mean_rise_c(state, k))


def mean_rise_c(state: RiseState, k: int) -> float:
    """Mean of the last rises from that class, leaning on two days of prior."""
    known = state.past_c[k][~np.isnan(state.past_c[k])]
    return float((known.sum() + 2.0 * _PRIOR_RISE_C[k]) / (len(known) + 2.0))


def noon_sun_w_m2(day: Daylight, site: Site) -> float:
    """What a clear sky sends onto level ground at that day's noon."""
    height, _ = solar_position(np.array([float(day.noon_s)]), site.latitude, site.longitude)
    return float(clear_sky_w_m2(height)[0])


def learn(state: RiseState, slots: Slots, day: Daylight, *, site: Site) -> RiseState:
    """The state after a day that has just ended."""
    past, precision, vector = state.past_c.copy(), state.precision.copy(), state.vector.copy()
    square, weight = state.square_c2.copy(), state.weight.copy()
    prior_precision, prior_vector = _prior()
    precision = FORGETTING * precision + (1.0 - FORGETTING) * prior_precision
    vector = FORGETTING * vector + (1.0 - FORGETTING) * prior_vector
    for k, hours in enumerate(ISSUE_HOURS):
        time_s = issue_time_s(day, hours)
        if time_s > day.noon_s and hours > 1:
            break
        y = _truth_c(slots, day, time_s)
        if np.isnan(y):
            continue
        x = _filled(_features(state, slots, day, time_s, site))
        error = y - float((x * np.linalg.solve(state.precision[k], state.vector[k])).sum())
        noise = rise_prior.NOISE_C[k]
        w = SAMPLE_WEIGHT / (noise * noise) / max(abs(error) / noise / 2.0, 1.0)
        precision[k] += w * x[:, None] * x[None, :]
        vector[k] += w * y * x
        square[k] = (0.95 * weight[k] * square[k] + error * error) / (0.95 * weight[k] + 1.0)
        weight[k] = 0.95 * weight[k] + 1.0
        past[k] = np.append(past[k, 1:], y)
    return replace(state, past_c=past, precision=precision, vector=vector, square_c2=square, weight=weight)


def _features(state: RiseState, slots: Slots, day: Daylight, time_s: int, site: Site) -> FloatArray:
    k = issue_class(day, time_s)
    window = Window(slots, slots.index_of(time_s))
    now, hour_ago, three_ago = (window.mean("air_c", 3, back=h * _PER_HOUR)[-1] for h in (0, 1, 3))
    yesterday = window.mean("air_c", 12, back=24 * _PER_HOUR - 6)[-1]
    _, high = window.extremes(24 * _PER_HOUR)
    soil = window.mean("soil_c", 3)[-1]
    humidity = window.mean("humidity_pct", 3)[-1:]
    dew = dew_point_of_air_c(np.array([now]), humidity)[0]
    known = state.past_c[k][~np.isnan(state.past_c[k])]
    mean = mean_rise_c(state, k)
    last = known[-1] if len(known) else mean
    upper = float(np.quantile(known, 0.8)) if len(known) >= 5 else mean + 2.0
    sun = 0.0
    if site.has_sun:
        sun = noon_sun_w_m2(day, site) / 700.0 - 1.0
    return np.array([
        1.0, sun, last / 6.0 - 1.0, mean / 6.0 - 1.0, upper / 8.0 - 1.0, now - hour_ago,
        (now - three_ago) / 3.0, (now - high[-1]) / 5.0 + 1.0, (soil - now) / 5.0, (now - yesterday) / 3.0,
        (now - dew) / 3.0 - 1.0,
    ])  # fmt: skip


def _filled(x: FloatArray) -> FloatArray:
    return np.where(np.isnan(x), rise_prior.TYPICAL, x)


def _outside_c(slots: Slots, time_s: int) -> float:
    return float(Window(slots, slots.index_of(time_s)).mean("air_c", 3)[-1])


def _truth_c(slots: Slots, day: Daylight, time_s: int) -> float:
    """Highest five-minute mean outside until sunset, above the outside air at the issue."""
    first, last = slots.index_of(time_s) + 1, slots.index_of(day.sunset_s) + 1
    air = slots.part("air_c", first, last)[:, -1]
    if not len(air) or np.isnan(air).mean() > 0.1:
        return float("nan")
    return float(np.fmax.reduce(air)) - _outside_c(slots, time_s)


def _prior() -> tuple[FloatArray, FloatArray]:
    diagonal = 1.0 / rise_prior.SPREAD**2
    return np.repeat(np.diag(diagonal)[None], CLASSES, axis=0), rise_prior.COEFFICIENT * diagonal
