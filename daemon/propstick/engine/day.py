"""Today's maximum with the lid shut, propped or open under a clear sky, and as it will probably be.

The minute model is run forward from where it stands now, under the sun this box gets when no cloud is
in the way and an outside air that rises as the regression of `rise.py` says. For a shut lid the plain
method (outside maximum plus the best recent lift) is averaged in: each knows what the other does not.
Days that turn out clear with the lid so mark the forecast and set its interval.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.engine import plain
from propstick.engine import rise as outside_rise
from propstick.engine.ceiling import bin_of
from propstick.engine.day_record import (
    OPENINGS,
    SHARPNESS,
    DayState,
    days_seen,
    gain_at,
    plain_share,
    remembered,
    share_that_comes,
    shut_gain,
)
from propstick.engine.evening import Window
from propstick.engine.marking import MISFIT_WIDENS
from propstick.engine.nights import Daylight
from propstick.engine.observer import COVER_LOSS, COVER_SUN
from propstick.engine.paths import Moments
from propstick.engine.rise import issue_class
from propstick.engine.slots import Slots
from propstick.engine.usual_box import usual_rise_c
from propstick.garden import Site
from propstick.physics.box import SUN_GAIN_C_PER_MIN, air_exchange, step
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.units import BoolArray, FloatArray

_Z90 = 1.6448536269514722
_MODEL_STEP_MIN = 5

# Tuned on invented boxes, no other authority.
PEAK_AFTER_NOON_S = 9_000
SOIL_FOLLOWS_PER_MIN = 0.010
SOIL_RETURNS_PER_MIN = 0.0015
LIFT_ERROR = np.array([0.045, 0.25, 0.15, 0.33])
"""Error of a forecast beyond that of the outside's rise, as a share of its height above the outside."""
FIRST_DAY_ERROR, FADES_BY_DAY = np.array([0.28, 0.15, 0.15, 0.28]), 0.33
"""And beyond that before the first day has ended: what a box of unknown weight and draughts may be off by.
After three more days half of it is left."""
LEAST_ERROR_C = 0.7
RISE_SHARE = np.array([0.72, 0.95, 1.0, 0.9])
RECORD_DAYS = 16.0
LIFT_LEFT = np.array([1.0, 0.35, 0.12])
"""Lifts through an open lid are small and much alike: an eighth of a shut one's, a third propped."""
BELOW_SHARE = 0.25
AGAIN_SHARE = 0.5
"""What yesterday brought counts so much on the second day, when little else is known; then soon nothing."""
SHUT_BELOW = 0.05
BENDS_AT_C, BEND_SHARE = 20.0, 0.75
"""Rise over the outside from which a box loses more than the straight model says, and what it still gains."""
TYPICAL_SHARE = 0.6
PROBE_ERROR_C = 0.2
LEAST_RISE_C = 2.0


@dataclass(frozen=True)
class DayMaximum:
    """The highest air from the issue to sunset for each lid, shape (lids, b); 90 % interval.

    Attributes:
        sd_c: Spread of the error of `max_c`.
        outside_max_c: The outside maximum it was reckoned with; NaN if unknown.
        method: What decided, per lid.
    """

    max_c: FloatArray
    low_c: FloatArray
    high_c: FloatArray
    sd_c: FloatArray
    outside_max_c: float
    method: tuple[str, ...]


def issue(
    state: DayState,
    slots: Slots,
    day: Daylight,
    *,
    time_s: int,
    site: Site,
    moment: Moments | None,
    ceiling: FloatArray,
) -> tuple[DayState, DayMaximum]:
    """The forecast at `time_s`, and the state that remembers it until sunset marks it.

    Args:
        moment: The minute model as it stands (one moment); None where it cannot be run.
        ceiling: Sun index of a clear sky by bearing, shape (bins, b).
    """  # fmt: skip
    k = issue_class(day, time_s)
    window = Window(slots, slots.index_of(time_s))
    model = np.full((len(OPENINGS), slots.boxes), np.nan)
    level = np.full(slots.boxes, np.nan)
    experts = np.full((2, slots.boxes), np.nan)
    rise = outside_rise.rise(state.rise, slots, day, time_s=time_s, site=site)
    air, lid = window.mean("air_c", 3)[:-1], window.mean("lid", 3)[:-1]
    outside = float(window.mean("air_c", 3)[-1])
    reference = np.where(np.isnan(outside), air, outside)
    now = slots.air_now()[:-1]
    best = plain.best_lift_c(state.lift_c)
    top = outside + rise.rise_c
    lids = np.stack([np.full_like(air, o) for o in OPENINGS] + [np.where(np.isnan(lid), 0.0, lid)])
    if moment is not None and site.has_sun and not np.isnan(outside):
        soil_day = _known_or(window.mean("soil_c", 288)[:-1], moment.soil_c[0])
        clear = clear_maximum_c(
            moment,
            lids,
            day=day,
            time_s=time_s,
            site=site,
            ceiling=ceiling,
            rise_c=rise.rise_c,
            soil_day_c=soil_day,
        )
        clear = top + _bent(clear - top)
        model = clear[:3]
        usual = usual_rise_c(day, site=site, top_c=top)
        level = np.log(np.maximum(clear[0] - top, LEAST_RISE_C) / usual)
        gain = gain_at(state, lids, shut=shut_gain(state, k, level))
        clear = drawn_to_usual_c(clear, gain, top_c=top, now_c=now)
        plain_closed = top + best
        experts = np.stack([clear[0], plain_closed])
        share = plain_share(state, plain_closed)
        # What the box has reached it can reach again; what it has not says little.
        share = np.where(plain_closed < clear[0], BELOW_SHARE * share, share)
        clear[0] = (1.0 - share) * clear[0] + share * np.nan_to_num(plain_closed)
        methods = (_shut_method(share), "model", "model", "model")
    else:
        height = np.concatenate(
            [LIFT_LEFT[:, None] * best, np.interp(lids[3], OPENINGS, LIFT_LEFT)[None] * best]
        )
        base = top if not np.isnan(top) else reference + rise.mean_c
        clear = base + height
        methods = ("best lift",) * 4
    clear = np.where(np.isnan(air), np.nan, clear)
    day_share = _known_or(window.mean("sun_share", 288)[:-1], np.full_like(air, TYPICAL_SHARE))
    sun_share = one_sky(window.mean("sun_share", 6)[:-1], lids[3])
    sun_share = _known_or(sun_share, day_share)
    expected = reference + np.clip(share_that_comes(state, k, sun_share), 0.0, 1.1) * (clear[3] - reference)
    left = np.interp(lids[3], OPENINGS, LIFT_LEFT)
    plain_as_is = top + left * best
    as_is = np.stack([expected, np.where(np.isnan(plain_as_is), expected, plain_as_is)])
    expected = _as_it_stands(state, k, as_is, left=left)
    forecast = np.concatenate([clear[:3], expected[None]])
    forecast = np.fmax(forecast, np.where(np.isnan(forecast), np.nan, now))
    height = np.maximum(forecast - reference, 0.0)
    lift_error = np.hypot(LIFT_ERROR, FIRST_DAY_ERROR / (1.0 + FADES_BY_DAY * days_seen(state)))[:, None]
    prior_square = (RISE_SHARE[:, None] * rise.sd_c) ** 2 + (lift_error * height) ** 2 + LEAST_ERROR_C**2
    n = state.weight[k]
    square = (RECORD_DAYS * prior_square + n * state.square_c2[k]) / (RECORD_DAYS + n)
    sd = state.widen[k][:, None] * np.sqrt(square)
    state = remembered(
        state,
        k,
        issued_c=forecast,
        issued_sd_c=sd,
        issued_s=np.int64(time_s),
        issued_ground_c=reference,
        issued_top_c=np.float64(top),
        issued_clear_c=clear[3],
        issued_shut_c=experts,
        # The gain belongs to learnt rates: those of the first day would teach it wrongly for weeks.
        issued_model_c=np.full_like(model, np.nan) if days_seen(state) == 0.0 else model,
        issued_level=level,
        issued_share=sun_share,
        issued_as_is_c=as_is,
    )
    low = np.fmax(forecast - _Z90 * sd, np.minimum(now, forecast) - PROBE_ERROR_C)
    high = forecast + _Z90 * sd
    return state, DayMaximum(forecast, low, high, sd, top, methods)


def widened(forecast: DayMaximum, fits: BoolArray) -> DayMaximum:
    """The forecast with wider intervals for boxes that do not behave as learnt, `fits` (b,)."""
    factor = np.where(fits, 1.0, MISFIT_WIDENS)
    low = forecast.max_c - factor * (forecast.max_c - forecast.low_c)
    high = forecast.max_c + factor * (forecast.high_c - forecast.max_c)
    return replace(forecast, low_c=low, high_c=high, sd_c=factor * forecast.sd_c)


def _as_it_stands(state: DayState, k: int, as_is: FloatArray, *, left: FloatArray) -> FloatArray:
    """The maximum for the lid as it stood: both forecasts by their records, and at first yesterday's, (b,).

    Args:
        as_is: Both forecasts, (2, b).
        left: What the lid leaves of a shut box's lift, (b,).
    """  # fmt: skip
    weight = state.as_is_square_c2[k] ** -SHARPNESS
    expected = (weight * as_is).sum(axis=0) / weight.sum(axis=0)
    other_lid = left / np.interp(state.lid_before, OPENINGS, LIFT_LEFT) - 1.0
    again = state.max_before_c + other_lid * state.lift_before_c
    share = np.where(np.isnan(again), 0.0, AGAIN_SHARE / max(days_seen(state), 1.0) ** 2)
    return np.array(expected + share * (np.nan_to_num(again) - expected))


def drawn_to_usual_c(clear_c: FloatArray, gain: FloatArray, *, top_c: float, now_c: FloatArray) -> FloatArray:
    """The model's maxima with each lid's gain on their rise above the outside's, (lids, b) [°C].

    What a shut box has risen already was measured: only what is to come is drawn to what is usual of it.

    Args:
        clear_c, gain: By lid, the shut one first, (lids, b).
        top_c: The outside's maximum.
        now_c: Air now, NaN unknown, (b,).
    """
    to_come = np.clip((clear_c[0] - now_c) / np.maximum(clear_c[0] - top_c, LEAST_RISE_C), 0.0, 1.0)
    share = np.ones_like(gain)
    share[0] = np.where(np.isnan(to_come), 1.0, to_come)
    return np.array(top_c + (1.0 + (gain - 1.0) * share) * (clear_c - top_c))


def clear_maximum_c(
    moment: Moments,
    lids: FloatArray,
    *,
    day: Daylight,
    time_s: int,
    site: Site,
    ceiling: FloatArray,
    rise_c: float,
    soil_day_c: FloatArray,
) -> FloatArray:
    """Highest air of the model run forward under a clear sky with each lid held, (lids, b) [°C].

    The outside rises as a quarter sine to its maximum 2.5 h after noon and falls slowly after it.
    """  # fmt: skip
    peak_s = day.noon_s + PEAK_AFTER_NOON_S
    times = np.arange(time_s + 60 * _MODEL_STEP_MIN, max(peak_s + 3600, time_s + 7200), 60 * _MODEL_STEP_MIN)
    height, bearing = solar_position(times.astype(float), site.latitude, site.longitude)
    sun = SUN_GAIN_C_PER_MIN * clear_sky_w_m2(height)[:, None] * ceiling[bin_of(bearing)]
    start_s = max(time_s, day.sunrise_s)
    path = outside_path_c(times, float(moment.outside_c[0]), rise_c, start_s=start_s, peak_s=peak_s)
    rates = type(moment.rates)(*(r[0] for r in moment.rates))
    # A mat is taken off by day; shut lids keep what cover they have only in the as-is run.
    cover = np.zeros_like(lids)
    cover[3:] = moment.cover[0]
    exchange = air_exchange(rates, lids) * (1.0 - (1.0 - COVER_LOSS) * cover)
    through = 1.0 - (1.0 - COVER_SUN) * cover
    air, surface, soil = (
        np.broadcast_to(v[0], lids.shape) for v in (moment.air_c, moment.surface_c, moment.soil_c)
    )
    most = air
    for k in range(len(times)):
        air, next_surface = step(
            air, surface, rates=rates, exchange=exchange, outside_c=path[k], soil_c=soil,
            sun_c=through * sun[k], chill_c=moment.chill[0], minutes=_MODEL_STEP_MIN,
        )  # fmt: skip
        soil = soil + _MODEL_STEP_MIN * (
            SOIL_FOLLOWS_PER_MIN * (surface - soil) + SOIL_RETURNS_PER_MIN * (soil_day_c - soil)
        )
        surface = next_surface
        most = np.maximum(most, air)
    return np.array(most)


def outside_path_c(
    times_s: FloatArray, now_c: float, rise_c: float, *, start_s: float, peak_s: float
) -> FloatArray:
    """Outside air on its way to the day's maximum: a quarter sine up, a slow parabola down."""
    up = np.clip((times_s - start_s) / max(peak_s - start_s, 1.0), 0.0, 1.0)
    down = np.clip((times_s - peak_s) / 14_400.0, 0.0, 1.0)
    return now_c + rise_c * (np.sin(0.5 * np.pi * up) - 0.35 * down * down)


def one_sky(share: FloatArray, lid: FloatArray) -> FloatArray:
    """Share of a clear sun over each box, by its own word and that of its shut neighbours, shape (b,).

    Each is already reckoned by the box's own ceiling, and the sky over a garden is one. A lid that is up
    makes its box a poor witness, one in the shade or silent is none: they borrow the neighbours' sky.
    """
    shut = (lid < SHUT_BELOW) & ~np.isnan(share)
    if not shut.any():
        return share
    seen = np.median(share[shut])
    return np.where(shut, 0.5 * (share + seen), seen)


def _bent(lift_c: FloatArray) -> FloatArray:
    """A hot box loses more than in proportion: it radiates, its air rises, its soil dries faster."""
    return np.where(lift_c > BENDS_AT_C, BENDS_AT_C + BEND_SHARE * (lift_c - BENDS_AT_C), lift_c)


def _shut_method(share: FloatArray) -> str:
    if not (share > 0.0).any():
        return "model"
    return "best lift" if (share[share > 0.0] > 0.5).all() else "model and best lift"


def _known_or(values: FloatArray, instead: FloatArray) -> FloatArray:
    return np.where(np.isnan(values), instead, values)
