"""When a batch comes up: the published rate summed over the soil it really had, and will have.

A rate is 1/days. Between the temperatures of a published table it is interpolated; where there is no
table it is (T - base)/θ. A batch is up when its rates add up to one, times the garden's own factor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.growing.coming import SOIL_SPREAD_C, Coming
from propstick.growing.crops import Crop, Emergence
from propstick.growing.hours import DAY_H, HOUR_S, Filled
from propstick.growing.learning import Z90, Factor
from propstick.growing.path import Path, beyond, path_of, reached_s
from propstick.times import DAY_S
from propstick.units import FloatArray, Unit, shown

BEYOND_TABLE_C = 10.0
"""The rate falls to nothing so far above the highest tested temperature, where no stop was published.
Ours: a cap, not a finding."""
FREEZING_C = 0.0
HOT_HOURS = 6
COLD_SHARE = 1.0 / 3.0
SURFACE_HOT_AIR_C = 35.0
"""Air under glass at which the surface of dark soil is well above the probe at sowing depth. Common
practice, no source."""


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
class Expectation:
    """When a batch is expected up.

    Attributes:
        expected_s, low_s, high_s: Middle and stated 90 % interval, UTC seconds; None: not within what
            can be foreseen.
        progress: Share of the way made by now, by the garden's own figure.
        stood_in: Share of the measured hours in which air stood in for soil.
        late_days: Days past the interval, 0 while it is not late.
    """

    expected_s: float | None
    low_s: float | None
    high_s: float | None
    progress: float
    stood_in: float
    late_days: float = 0.0


def expect(
    table: Emergence, *, sown_s: int, soil: Filled, ahead: Coming | None, factor: Factor, now_s: int
) -> Expectation | None:
    """Expected emergence of a batch, from its soil so far and the soil to come.

    Returns:
        None where no temperature is known at all.
    """
    path = path_of(sown_s, soil, ahead, unknown_spread_c=SOIL_SPREAD_C)
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
    mine = soil.stood_in[(soil.time_s >= sown_s)]
    return Expectation(
        expected_s=when,
        low_s=max(low, float(sown_s)) if low is not None else None,
        high_s=high,
        progress=round(min(done, 9.99), 3),
        stood_in=round(float(mine.mean()) if len(mine) else 0.0, 3),
        late_days=round(late, 1),
    )


def progress_until(table: Emergence, *, sown_s: int, until_s: int, soil: Filled) -> float | None:
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
    if not reasons:
        reasons.append("neither cold, heat nor drought shows in the readings")
    return tuple(reasons)


def degrees(value_c: float, unit: Unit) -> str:
    """A limit as the person reads it: `28 °C`."""
    return f"{shown(value_c, unit):.0f} °{unit}"


def _progress(table: Emergence, path: Path, deviations: float) -> FloatArray:
    rates = rate_per_day(table, path.value_c + deviations * path.spread_c)
    return np.cumsum(rates) / DAY_H
