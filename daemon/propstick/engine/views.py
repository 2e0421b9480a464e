"""Boxes as seen at a row: for the live view, for notices, and lids on change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine.layout import BoxLimits, Layout
from propstick.engine.notices import NAMED_S
from propstick.engine.state import EngineState
from propstick.engine.trends import Trends
from propstick.engine.upsets import Upsets
from propstick.garden import OUTSIDE, Garden
from propstick.records import BoxNow, Doubt, LidOpening
from propstick.units import BoolArray, FloatArray


def on_their_way(
    i: int, boxes: tuple[str, ...], rows: PlaceRows, trends: Trends, heat_c: FloatArray, empty: np.ndarray
) -> list[tuple[str, float, float]]:
    """Boxes whose air, rising on as it does, passes its limit within the hour."""
    found = []
    for b, name in enumerate(boxes):
        air_c, rise = float(rows.air_c[i, b]), float(trends.air_c_per_h[i, b])
        if empty[b] or not (rise > 0.0 and air_c <= heat_c[b]) or rows.lid[i, b] >= 0.9:
            continue
        wait_s = 3600.0 * (float(heat_c[b]) - air_c) / rise
        if wait_s <= NAMED_S:
            found.append((name, air_c, float(rows.time_s[i]) + wait_s))
    return found


def lid_changes(
    state: EngineState, garden: Garden, layout: Layout, rows: PlaceRows
) -> tuple[EngineState, list[LidOpening]]:
    """Openings a contact showed, on change."""
    found: list[LidOpening] = []
    for b, box in enumerate(garden.box_names):
        if (box, "lid") not in layout.columns:
            continue
        lid = rows.lid[:, b]
        last = state.lids.get(box)
        opening = None if last is None else last.opening
        for i in np.flatnonzero(~np.isnan(lid)):
            if lid[i] != opening:
                opening = float(lid[i])
                found.append(
                    LidOpening(box=box, time_s=int(rows.time_s[i]), opening=opening, known_from="contact")
                )
    return replace(state, lids={**state.lids, **{lid.box: lid for lid in found}}), found


def lid_rows(rows: PlaceRows) -> tuple[int, ...]:
    """Rows at which a lid is not as it was on the row before, or no longer known."""
    before, now = rows.lid[:-1], rows.lid[1:]
    changed = (before != now) & ~(np.isnan(before) & np.isnan(now))
    return tuple(1 + np.flatnonzero(changed.any(axis=1)))


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _doubts(state: EngineState, upsets: Upsets | None, boxes: int) -> list[Doubt | None]:
    """Why each box is known less surely at the last row; without forecasts there is nothing to doubt."""
    if upsets is None or state.ahead is None:
        return [None] * boxes
    fits = state.ahead.minute.observer.fit.fits
    signs: tuple[tuple[Doubt, BoolArray], ...] = (
        ("dimmed", upsets.dimmed[-1]),
        ("pressed", upsets.as_soil[-1]),
        ("as-outside", upsets.as_outside[-1]),
        ("watered", upsets.watered[-1]),
        ("changed", ~fits),
    )
    return [next((doubt for doubt, holds in signs if holds[k]), None) for k in range(boxes)]


def boxes_now(
    garden: Garden,
    state: EngineState,
    rows: PlaceRows,
    trends: Trends,
    *,
    limits: BoxLimits,
    judged: Mapping[str, float],
    upsets: Upsets | None,
) -> tuple[BoxNow, ...]:
    """The boxes and the open ground at the last row. `judged`: estimated openings, where none is known."""
    doubts = _doubts(state, upsets, len(garden.boxes))
    views = []
    for b, box in enumerate(garden.box_names):
        lid, opening = state.lids.get(box), _known(rows.lid[-1, b])
        known_from = None if lid is None or opening is None else lid.known_from
        guess = judged.get(box, np.nan)
        if opening is None and not np.isnan(guess):
            opening, known_from = round(guess, 1), "estimate"
        views.append(
            BoxNow(
                box=box,
                air_c=_known(rows.air_c[-1, b]),
                soil_c=_known(rows.soil_c[-1, b]),
                humidity_pct=_known(rows.humidity_pct[-1, b]),
                rise_c_per_h=_known(trends.air_c_per_h[-1, b]),
                soil_rise_c_per_h=_known(trends.soil_c_per_h[-1, b]),
                lid=opening,
                lid_from=known_from,
                cover=_known(rows.cover[-1, b]),
                heat_c=limits.of[b].heat_c,
                frost_c=limits.of[b].frost_c,
                prop_c=limits.of[b].prop_c,
                doubt=doubts[b],
            )
        )
    views.append(
        BoxNow(
            box=OUTSIDE,
            air_c=_known(rows.outside_air_c[-1]),
            soil_c=_known(rows.outside_soil_c[-1]),
            humidity_pct=_known(rows.outside_humidity_pct[-1]),
            rise_c_per_h=_known(trends.air_c_per_h[-1, -1]),
            soil_rise_c_per_h=_known(trends.soil_c_per_h[-1, -1]),
            lid=None, lid_from=None, cover=None, heat_c=None, frost_c=None, prop_c=None,
        )
    )  # fmt: skip
    return tuple(views)
