"""Which condition holds on which row, for everything measured in a box."""

from __future__ import annotations

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine.conditions import ALARM, BETWEEN, CLEAR, Condition, Subject, condition, threshold_codes
from propstick.engine.kinds import KINDS
from propstick.engine.layout import BoxLimits
from propstick.engine.soilwatch import SoilWatch
from propstick.engine.trends import Trends, quick_enough
from propstick.garden import Garden
from propstick.records import AlarmKind
from propstick.units import BoolArray, FloatArray

DRY_DEADBAND_PCT = 3.0
"""Moisture must come back so far past its limit. Common practice, no source."""
GROUND_WARMER_C = 1.0
"""Soil that is not so much warmer than the outside gives a box nothing to keep: it is colder for that.
Common practice, no source."""
FAST_RISE_ENDS = 0.5
"""A fast rise is over when the air rises at less than this share of its limit."""


def box_conditions(
    garden: Garden, *, limits: BoxLimits, rows: PlaceRows, trends: Trends, soil: SoilWatch
) -> list[Condition]:
    """Heat, frost, fast rise, soil and shelter of every box, over a stretch of rows."""
    if not garden.boxes:
        return []
    air_known = ~np.isnan(rows.air_c)
    deadband = limits.column("deadband_c")
    delays_s = limits.column("on_delay_s"), limits.column("off_delay_s")
    empty = np.broadcast_to(limits.known_empty, air_known.shape)
    air_subjects = tuple(Subject(name, "air") for name in garden.box_names)
    soil_subjects = tuple(Subject(name, "soil") for name in garden.box_names)
    found: list[Condition] = []

    thresholds: tuple[tuple[AlarmKind, np.ndarray], ...] = (
        ("heat", limits.heat_c),
        ("frost", limits.frost_c),
    )
    for kind, limit in thresholds:
        codes = threshold_codes(rows.air_c, limit, deadband=deadband, sign=KINDS[kind].sign)
        found.append(
            condition(
                kind, air_subjects, codes=codes, known=air_known, value_c=rows.air_c, limit_c=limit,
                delays_s=delays_s, silenced=empty,
            )
        )  # fmt: skip
    codes, known = _fast_rise(rows, limits, trends)
    found.append(
        condition(
            "fast-rise", air_subjects, codes=codes, known=known, value_c=rows.air_c, limit_c=limits.heat_c,
            delays_s=delays_s, silenced=empty,
        )
    )  # fmt: skip
    # A probe that has come out of the soil says nothing about it.
    out_of_soil = np.broadcast_to(soil.follows[:-1], air_known.shape)
    thresholds = (("soil-cold", limits.soil_cold_c), ("soil-hot", limits.soil_hot_c))
    for kind, limit in thresholds:
        codes = threshold_codes(rows.soil_c, limit, deadband=deadband, sign=KINDS[kind].sign)
        codes = np.where(limits.awaits_emergence, codes, CLEAR).astype(np.int8)
        found.append(
            condition(
                kind, soil_subjects, codes=codes, known=~np.isnan(rows.soil_c), value_c=rows.soil_c,
                limit_c=limit, silenced=out_of_soil,
            )
        )  # fmt: skip
    found.append(_no_shelter(rows, limits, air_subjects))
    if any(probe.place == "moisture" for probe in garden.probes):
        found.append(_dry(garden, rows, limits))
    return found


def _dry(garden: Garden, rows: PlaceRows, limits: BoxLimits) -> Condition:
    """Soil drier than its limit, where a moisture probe says so. It has no temperature to show."""
    nothing = np.full(len(garden.boxes), np.nan)
    return condition(
        "dry",
        tuple(Subject(name, "moisture") for name in garden.box_names),
        codes=threshold_codes(
            rows.moisture_pct, limits.column("dry_pct"), deadband=DRY_DEADBAND_PCT, sign=KINDS["dry"].sign
        ),
        known=~np.isnan(rows.moisture_pct),
        value_c=np.broadcast_to(nothing, rows.moisture_pct.shape),
        limit_c=nothing,
        silenced=np.broadcast_to(limits.known_empty, rows.moisture_pct.shape),
    )


def _fast_rise(rows: PlaceRows, limits: BoxLimits, trends: Trends) -> tuple[np.ndarray, BoolArray]:
    minutes = limits.column("fast_rise_minutes")
    limit_c = limits.column("fast_rise_c")
    rise_c = trends.air_c_per_h[:, :-1] * (minutes / 60.0)
    near = limits.heat_c - rows.air_c <= limits.column("fast_rise_within_c")
    past = near & (rise_c >= limit_c)
    ending = near & (rise_c >= FAST_RISE_ENDS * limit_c)
    codes = np.where(past, ALARM, np.where(ending, BETWEEN, CLEAR)).astype(np.int8)
    return codes, ~np.isnan(rise_c) & quick_enough(trends, minutes=minutes)


def _no_shelter(rows: PlaceRows, limits: BoxLimits, subjects: tuple[Subject, ...]) -> Condition:
    """Colder inside than outside, and neither the ground nor the weather explains it.

    Air that warms by night leaves every box behind, and so does an outside probe by a warm wall; over cold
    ground a box is colder than outside as a cellar is. Suppressed while the lid is known to be open.
    """
    outside_c = rows.outside_air_c[:, None]
    margin_c = limits.column("no_shelter_c")
    lift_c = rows.air_c - outside_c
    codes = threshold_codes(lift_c, -margin_c, deadband=margin_c, sign=-1)
    is_explained = (rows.soil_c - outside_c < GROUND_WARMER_C) | _others_are_cold(lift_c, rows.lid)
    codes = np.where(is_explained, CLEAR, codes).astype(np.int8)
    return condition(
        "no-shelter",
        subjects,
        codes=codes,
        known=~np.isnan(rows.air_c) & ~np.isnan(outside_c),
        value_c=rows.air_c,
        limit_c=np.full(len(subjects), np.nan),
        silenced=rows.lid > 0.0,
    )


def _others_are_cold(lift_c: FloatArray, lid: FloatArray) -> BoolArray:
    """Whether at least half of the boxes beside each, (n, b), are colder than outside too. A box whose air is
    unknown, or whose lid is known to be open, is no witness."""
    is_witness = ~np.isnan(lift_c) & ~(lid > 0.0)
    is_cold = is_witness & (lift_c < 0.0)
    witnesses = is_witness.sum(axis=1, keepdims=True) - is_witness
    return (witnesses > 0) & (2 * (is_cold.sum(axis=1, keepdims=True) - is_cold) >= witnesses)
