"""First pick, and how long it lasts: warmth from emergence to picking, published or learnt.

No thermal time from emergence to picking was found published for leaf crops. What is printed are days
of a warm spring; they are turned into warmth at a stated temperature, and keep their whole range. A
crop without such days is foretold only from the person's own picks, and says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from propstick.growing.coming import AIR_SPREAD_C, Coming
from propstick.growing.crops import Crop
from propstick.growing.emergence import rate_per_day
from propstick.growing.hours import HOUR_S, Filled
from propstick.growing.learning import BATCH_LOG_SD, Z90, Factor, learnt
from propstick.growing.path import beyond, path_of, reached_s
from propstick.growing.warmth import BASE_C, degree_days
from propstick.units import FloatArray

LEAST_LOG_SD = 0.15


@dataclass(frozen=True, kw_only=True)
class Need:
    """Warmth from emergence to the first pick [°C d above the base].

    Attributes:
        log_sd: Standard deviation of its logarithm for the next batch.
        factor: How the person's own picks moved a published figure; None where there was none.
        words: Where the figure is from.
    """

    warmth_c_d: float
    log_sd: float
    factor: Factor | None
    words: str

    def bounds(self) -> tuple[float, float]:
        """The 90 % interval."""
        far = math.exp(Z90 * self.log_sd)
        return self.warmth_c_d / far, self.warmth_c_d * far


def published_need(crop: Crop) -> tuple[float, float] | None:
    """Least and most warmth from emergence to first pick by the published days; None without them.

    Days from sowing are counted at one temperature; those the seed needs to come up at it are taken off.
    """
    if crop.harvest is None:
        return None
    at_c = crop.harvest.at_c
    below = 0.0
    if crop.emergence is not None:
        rate = float(rate_per_day(crop.emergence, np.array([at_c]))[0])
        below = 1.0 / rate if rate > 0.0 else 0.0
    per_day = at_c - BASE_C
    least = max(crop.harvest.days_low - below, 0.5 * crop.harvest.days_low) * per_day
    return least, max(crop.harvest.days_high - below, 0.5 * crop.harvest.days_high) * per_day


def need_of(crop: Crop, own_c_d: Sequence[float]) -> Need | None:
    """What the crop needs here, from its published days and the warmth of the person's own batches.

    Args:
        own_c_d: Warmth from first up to first pick of earlier batches of this crop.

    Returns:
        None where nothing is published and nothing was picked yet.
    """
    own = [value for value in own_c_d if value > 0.0]
    published = published_need(crop)
    if published is not None:
        middle = math.sqrt(published[0] * published[1])
        prior_sd = max(LEAST_LOG_SD, math.log(published[1] / published[0]) / (2.0 * Z90))
        factor = learnt([value / middle for value in own], prior_sd=prior_sd)
        log_sd = factor.next_log_sd if own else prior_sd
        words = f"{crop.harvest.days_low:g} to {crop.harvest.days_high:g} days in a warm spring"
        words += f", {factor.words()}" if own else ""
        return Need(warmth_c_d=middle * factor.middle, log_sd=log_sd, factor=factor, words=words)
    if not own:
        return None
    logs = [math.log(value) for value in own]
    sd = math.hypot(BATCH_LOG_SD, BATCH_LOG_SD / math.sqrt(len(own)))
    return Need(
        warmth_c_d=math.exp(sum(logs) / len(logs)),
        log_sd=sd,
        factor=None,
        words=f"no published figure; from {_batches(len(own))} of your own",
    )


def _batches(count: int) -> str:
    return "one batch" if count == 1 else f"{count} batches"


def warmth_between(air: Filled, start_s: int, end_s: int) -> float | None:
    """Warmth gathered between two moments; None where more than a tenth of the hours is unknown."""
    inside = (air.time_s >= start_s - HOUR_S) & (air.time_s < end_s)
    known = inside & ~np.isnan(air.value_c)
    wanted = max(1, (end_s - start_s) // HOUR_S)
    if known.sum() < 0.9 * wanted:
        return None
    return float(degree_days(air.value_c[known]).mean() * wanted)


@dataclass(frozen=True, kw_only=True)
class Window:
    """A date with its stated 90 % interval, UTC seconds; None: not within what can be foreseen."""

    expected_s: float | None
    low_s: float | None
    high_s: float | None


def first_pick(need: Need, *, up: Window, air: Filled, ahead: Coming | None) -> Window:
    """When a batch is first picked.

    Args:
        up: When it came up (all three the same), or is expected to.
        air: Of its place, measured so far.
    """
    low_need, high_need = need.bounds()
    if up.expected_s is None:
        return Window(expected_s=None, low_s=None, high_s=None)
    middle = _pick_s(up.expected_s, need.warmth_c_d, air, ahead)
    early = [
        _pick_s(up.expected_s, low_need, air, ahead),
        _pick_s(up.expected_s, need.warmth_c_d, air, ahead, deviations=Z90),
        _pick_s(up.low_s, need.warmth_c_d, air, ahead),
    ]
    later = [
        _pick_s(up.expected_s, high_need, air, ahead),
        _pick_s(up.expected_s, need.warmth_c_d, air, ahead, deviations=-Z90),
        _pick_s(up.high_s, need.warmth_c_d, air, ahead),
    ]
    low, high = beyond(middle, early, is_early=True), beyond(middle, later, is_early=False)
    return Window(expected_s=middle, low_s=None if low is None else max(low, up.expected_s), high_s=high)


def _pick_s(
    up_s: float | None, need_c_d: float, air: Filled, ahead: Coming | None, *, deviations: float = 0.0
) -> float | None:
    if up_s is None:
        return None
    path = path_of(int(up_s), air, ahead, unknown_spread_c=AIR_SPREAD_C)
    if path is None:
        return None
    gained: FloatArray = np.cumsum(degree_days(path.value_c + deviations * path.spread_c))
    return reached_s(path.time_s, gained, need_c_d)
