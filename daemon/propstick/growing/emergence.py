"""When a batch comes up: the published rate summed over the soil it really had, and will have.

A rate is 1/days. Between the temperatures of a published table it is interpolated; where there is no
table it is (T - base)/θ. A batch is up when its rates add up to one, times the garden's own factor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from propstick.growing.coming import SOIL_SPREAD_C, Coming
from propstick.growing.crops import Crop, Emergence
from propstick.growing.hours import DAY_H, HOUR_S, MEASURED_SPREAD_C, Soil
from propstick.growing.learning import KINSHIP_LOG_SD, PRIOR_LOG_SD, Z90, Factor
from propstick.times import DAY_S
from propstick.units import FloatArray, IntArray, Unit, shown

BEYOND_TABLE_C = 10.0
"""The rate falls to nothing so far above the highest tested temperature, where no stop was published.
Ours: a cap, not a finding."""
FREEZING_C = 0.0
HOT_HOURS = 6
COLD_SHARE = 1.0 / 3.0
SURFACE_HOT_AIR_C = 35.0
"""Air under glass at which the surface of dark soil is well above the probe at sowing depth. Common
practice, no source."""


def prior_sd(crop: Crop) -> float:
    """How far the crop's own figure may be from what stands in `crops.toml`."""
    return KINSHIP_LOG_SD if crop.by_kinship else PRIOR_LOG_SD


def rate_per_day(table: Emergence, soil_c: FloatArray) -> FloatArray:
    """Share of the way from sowing to emergence that a day at this temperature is worth.

    Straight lines between the rates 1/days of the table; 0 where nothing came up, at the fitted base
    below the table, and in frozen soil. NaN stays NaN.

    Source:
        Rates, not days, are near straight in temperature: the idea of thermal time (Bierhuizen and
        Wagenvoort 1974, not opened). Table: Harrington and Minges (1954).
    """
    temperatures, rates = _knots(table)
    found = np.interp(soil_c, temperatures, rates)
    return np.where(np.asarray(soil_c) < FREEZING_C, 0.0, found)


def _knots(table: Emergence) -> tuple[FloatArray, FloatArray]:
    knots = {float(c): 0.0 for c in table.none_at_c}
    knots.update({float(c): 1.0 / days for c, days in zip(table.soil_c, table.days, strict=True)})
    if not table.soil_c:  # thermal time alone
        assert table.base_c is not None, "an emergence without any figure"
        assert table.theta_c_d is not None, "a base without a thermal time"
        best = table.base_c + 20.0
        return np.array([table.base_c, best]), np.array([0.0, 20.0 / table.theta_c_d])
    lowest, highest = min(table.soil_c), max(table.soil_c)
    if not any(c < lowest for c in table.none_at_c):
        below = table.base_c if table.base_c is not None and table.base_c < lowest else lowest - 5.0
        knots[below] = 0.0
    if not any(c > highest for c in table.none_at_c):
        knots[highest + BEYOND_TABLE_C] = 0.0
    temperatures = np.array(sorted(knots))
    return temperatures, np.array([knots[c] for c in temperatures.tolist()])


@dataclass(frozen=True, kw_only=True)
class Path:
    """Soil from the hour of sowing to the end of what can be expected.

    Attributes:
        time_s: Hours, shape (h,).
        soil_c: Without a gap, shape (h,).
        spread_c: Standard deviation of the mean over these hours, hour by hour, shape (h,).
        measured: Hours up to now.
    """

    time_s: IntArray
    soil_c: FloatArray
    spread_c: FloatArray
    measured: int


def path_of(sown_s: int, soil: Soil, ahead: Coming | None) -> Path | None:
    """Measured soil since sowing, then what is expected; None where nothing at all is known.

    Hours nobody measured (sown before the probe, a silence of soil and air) lie on a line between the
    nearest that were, and widen the interval like hours to come.
    """
    start_s = sown_s // HOUR_S * HOUR_S
    end_s = int(soil.time_s[-1]) + HOUR_S if len(soil.time_s) else start_s
    hours = max(0, (end_s - start_s) // HOUR_S)
    past_s = start_s + HOUR_S * np.arange(hours, dtype=np.int64)
    value = np.full(hours, np.nan)
    spread = np.full(hours, SOIL_SPREAD_C)
    at = (soil.time_s - start_s) // HOUR_S
    inside = (at >= 0) & (at < hours)
    value[at[inside]] = soil.value_c[inside]
    spread[at[inside]] = np.where(
        np.isnan(soil.value_c[inside]),
        SOIL_SPREAD_C,
        np.where(soil.from_air[inside], max(soil.spread_c, 1.0), 0.5 * MEASURED_SPREAD_C),
    )
    if ahead is not None:
        later = ahead.time_s >= end_s
        past_s = np.concatenate([past_s, ahead.time_s[later]])
        value = np.concatenate([value, ahead.value_c[later]])
        spread = np.concatenate([spread, ahead.spread_c[later]])
    known = np.flatnonzero(~np.isnan(value))
    if not len(known):
        return None
    value = np.interp(np.arange(len(value)), known, value[known])
    return Path(time_s=past_s, soil_c=value, spread_c=spread, measured=hours)


@dataclass(frozen=True, kw_only=True)
class Expectation:
    """When a batch is expected up.

    Attributes:
        expected_s, low_s, high_s: Middle and stated 90 % interval, UTC seconds; None: not within what
            can be foreseen.
        progress: Share of the way made by now, by the garden's own figure.
        from_air: Share of the measured hours in which air stood in for soil.
        late_days: Days past the interval, 0 while it is not late.
    """

    expected_s: float | None
    low_s: float | None
    high_s: float | None
    progress: float
    from_air: float
    late_days: float = 0.0


def expect(
    table: Emergence, *, sown_s: int, soil: Soil, ahead: Coming | None, factor: Factor, now_s: int
) -> Expectation | None:
    """Expected emergence of a batch, from its soil so far and the soil to come.

    Returns:
        None where no temperature is known at all.
    """
    path = path_of(sown_s, soil, ahead)
    if path is None:
        return None
    low_factor, high_factor = factor.bounds()
    middle = _progress(table, path, 0.0)
    warm, cold = _progress(table, path, Z90), _progress(table, path, -Z90)
    when = reached_s(path.time_s, middle, factor.middle)
    early = [reached_s(path.time_s, middle, low_factor), reached_s(path.time_s, warm, factor.middle)]
    later = [reached_s(path.time_s, middle, high_factor), reached_s(path.time_s, cold, factor.middle)]
    low, high = beyond(when, early, is_early=True), beyond(when, later, is_early=False)
    done = float(middle[path.measured - 1]) / factor.middle if path.measured else 0.0
    late = max(0.0, (now_s - high) / DAY_S) if high is not None else 0.0
    mine = soil.from_air[(soil.time_s >= sown_s)]
    return Expectation(
        expected_s=when,
        low_s=max(low, float(sown_s)) if low is not None else None,
        high_s=high,
        progress=round(min(done, 9.99), 3),
        from_air=round(float(mine.mean()) if len(mine) else 0.0, 3),
        late_days=round(late, 1),
    )


def progress_until(table: Emergence, *, sown_s: int, until_s: int, soil: Soil) -> float | None:
    """Rates added up from sowing to a moment: what the book calls one. None where soil is unknown.

    A date seen is worth learning from only where at least nine hours in ten were measured.
    """
    inside = (soil.time_s >= sown_s - HOUR_S) & (soil.time_s < until_s)
    wanted = max(1, (until_s - sown_s) // HOUR_S)
    value = soil.value_c[inside]
    known = ~np.isnan(value)
    if known.sum() < 0.9 * wanted:
        return None
    return float(rate_per_day(table, value[known]).mean() * wanted / DAY_H)


def late_reasons(
    crop: Crop, *, soil_c: FloatArray, air_c: FloatArray, is_dry: bool | None = None, unit: Unit = "C"
) -> tuple[str, ...]:
    """Why a batch may be late, the likeliest first; soil and air since sowing, hour by hour.

    Args:
        is_dry: Whether the bed is reckoned, or measured, dry; None where nobody knows.
    """
    limits = crop.limits
    soil = soil_c[~np.isnan(soil_c)]
    reasons = []
    if limits.soil_cold_c is not None and len(soil) and (soil < limits.soil_cold_c).mean() >= COLD_SHARE:
        days = float((soil < limits.soil_cold_c).sum()) / DAY_H
        reasons.append(f"too cold: {days:.0f} days below {degrees(limits.soil_cold_c, unit)} in the soil")
    if limits.soil_hot_c is not None and (hot := int((soil > limits.soil_hot_c).sum())) >= HOT_HOURS:
        reasons.append(f"too hot: {hot} hours above {degrees(limits.soil_hot_c, unit)} in the soil")
    hot_air = int(np.nansum(air_c > SURFACE_HOT_AIR_C))
    if hot_air >= HOT_HOURS:
        reasons.append(
            f"too hot at the surface: {hot_air} hours of air above {degrees(SURFACE_HOT_AIR_C, unit)}"
        )
    if is_dry:
        reasons.append("dry: the top of the bed has lost its water since it was last given any")
    elif is_dry is None:
        reasons.append("dry, if it was not watered: nothing here measures that")
    return tuple(reasons)


def degrees(value_c: float, unit: Unit) -> str:
    """A limit as the person reads it: `28 °C`."""
    return f"{shown(value_c, unit):.0f} °{unit}"


def _progress(table: Emergence, path: Path, deviations: float) -> FloatArray:
    rates = rate_per_day(table, path.soil_c + deviations * path.spread_c)
    return np.cumsum(rates) / DAY_H


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
