"""The hours a batch lives through, measured and expected, and when a sum along them is reached."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from propstick.growing.coming import Coming
from propstick.growing.hours import HOUR_S, MEASURED_SPREAD_C, Filled
from propstick.units import FloatArray, IntArray


@dataclass(frozen=True, kw_only=True)
class Path:
    """A temperature from a batch's first hour to the end of what can be expected.

    Attributes:
        time_s: Hours, shape (h,).
        value_c: Without a gap, shape (h,).
        spread_c: Standard deviation of the mean over these hours, hour by hour, shape (h,).
        measured: Hours up to now.
    """

    time_s: IntArray
    value_c: FloatArray
    spread_c: FloatArray
    measured: int


def path_of(start_s: int, filled: Filled, ahead: Coming | None, *, unknown_spread_c: float) -> Path | None:
    """What was measured from a moment on, then what is expected; None where nothing at all is known.

    Hours nobody measured (sown before the probe, a silence of all probes) lie on a line between the
    nearest that were, and widen the interval like hours to come.

    Args:
        unknown_spread_c: Standard deviation of the mean of hours nobody measured.
    """
    start_s = int(start_s) // HOUR_S * HOUR_S
    end_s = int(filled.time_s[-1]) + HOUR_S if len(filled.time_s) else start_s
    hours = max(0, (end_s - start_s) // HOUR_S)
    past_s = start_s + HOUR_S * np.arange(hours, dtype=np.int64)
    value = np.full(hours, np.nan)
    spread = np.full(hours, unknown_spread_c)
    at = (filled.time_s - start_s) // HOUR_S
    inside = (at >= 0) & (at < hours)
    value[at[inside]] = filled.value_c[inside]
    spread[at[inside]] = np.where(
        np.isnan(filled.value_c[inside]),
        unknown_spread_c,
        np.where(filled.stood_in[inside], max(filled.spread_c, 1.0), 0.5 * MEASURED_SPREAD_C),
    )
    if ahead is not None:
        later = ahead.time_s >= max(end_s, start_s)
        past_s = np.concatenate([past_s, ahead.time_s[later]])
        value = np.concatenate([value, ahead.value_c[later]])
        spread = np.concatenate([spread, ahead.spread_c[later]])
    known = np.flatnonzero(~np.isnan(value))
    if not len(known):
        return None
    value = np.interp(np.arange(len(value)), known, value[known])
    return Path(time_s=past_s, value_c=value, spread_c=spread, measured=hours)


def reached_s(time_s: IntArray, summed: FloatArray, target: float) -> float | None:
    """When a sum by the end of each hour reaches a target, UTC seconds; None if it never does."""
    k = int(np.searchsorted(summed, target))
    if k >= len(summed):
        return None
    before = float(summed[k - 1]) if k else 0.0
    gained = float(summed[k]) - before
    share = (target - before) / gained if gained > 0.0 else 1.0
    return float(time_s[k]) + HOUR_S * share


def beyond(middle: float | None, bounds: Sequence[float | None], *, is_early: bool) -> float | None:
    """One bound from several independent reasons, their distances added in squares.

    None where one of them never comes; without a middle the earliest still is a bound.
    """
    reached = [bound for bound in bounds if bound is not None]
    if middle is None:
        return min(reached) if is_early and reached else None
    if len(reached) < len(bounds):
        return None
    far = float(np.sqrt(sum((middle - bound) ** 2 for bound in reached)))
    return middle - far if is_early else middle + far
