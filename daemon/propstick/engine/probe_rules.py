"""Which probe is silent, stuck, leaping, or at odds with another, row by row."""

from __future__ import annotations

import numpy as np

from propstick.blocks import Flag
from propstick.engine.conditions import ALARM, CLEAR, Condition, Subject, condition, threshold_codes
from propstick.engine.layout import Layout
from propstick.engine.quality import Checked
from propstick.engine.soilwatch import SoilWatch
from propstick.engine.upsets import Upsets
from propstick.garden import OUTSIDE, Garden
from propstick.units import IntArray

JUMPY_S = 3600
"""A caught jump is in alarm for so long; the next one within it belongs to the same alarm."""


def probe_conditions(
    garden: Garden, *, layout: Layout, checked: Checked, time_s: IntArray, soil: SoilWatch,
    upsets: Upsets | None,
) -> list[Condition]:  # fmt: skip
    """Every rule about probes, over a stretch of rows. `upsets`: None where nobody looks for them."""
    m = len(layout.ids)
    if not m:
        return []
    subjects = tuple(Subject(p.box, p.place, p.id) for p in garden.probes)
    seated = [c for c, p in enumerate(garden.probes) if not p.is_loose]
    at_home = tuple(subjects[c] for c in seated)
    t = time_s[:, None]
    shape = checked.value_c.shape
    always, nothing, no_limit = np.ones(shape, dtype=np.bool_), np.full(shape, np.nan), np.full(m, np.nan)
    stuck = (checked.flags & int(Flag.STUCK)) != 0

    found = [
        condition(
            "probe-silent", subjects, codes=_codes(t - checked.heard_s >= layout.silent_s), known=always,
            value_c=nothing, limit_c=no_limit,
        ),
        condition(
            "probe-stuck", at_home, codes=_codes(stuck)[:, seated],
            known=(stuck | checked.fresh)[:, seated],
            value_c=np.where(stuck, checked.read_c, checked.value_c)[:, seated], limit_c=no_limit[seated],
        ),
        condition(
            "probe-jump", at_home, codes=_codes(t - checked.spike_s < JUMPY_S)[:, seated],
            known=always[:, seated], value_c=nothing[:, seated], limit_c=no_limit[seated],
        ),
    ]  # fmt: skip
    disagreeing = _disagreement(garden, layout, checked, soil, upsets)
    return [*found, disagreeing] if disagreeing else found


def _codes(in_alarm: np.ndarray) -> np.ndarray:
    return np.where(in_alarm, ALARM, CLEAR).astype(np.int8)


def _disagreement(
    garden: Garden, layout: Layout, checked: Checked, soil: SoilWatch, upsets: Upsets | None
) -> Condition | None:
    """Good probes of one place too far apart (which of two is wrong nobody can tell), soil probes that follow
    the air, air probes that read as the soil, and boxes that do not warm as the outside does."""
    subjects, codes, known, values, limits = [], [], [], [], []
    n = len(checked.value_c)
    for (box, place), columns in layout.columns.items():
        if len(columns) > 1 and place in ("air", "soil"):
            own = garden.site_limits if box == OUTSIDE else garden.box(box).limits.over(garden.site_limits)
            limit_c = float(own.disagree_c or np.inf)
            spread_c = _spread_c(checked.value_c[:, columns])
            subjects.append(Subject(box, place))
            codes.append(threshold_codes(spread_c, limit_c, deadband=limit_c / 3.0, sign=1))
            known.append(~np.isnan(spread_c))
            values.append(spread_c)
            limits.append(limit_c)
        if place == "soil" and (box, "air") in layout.columns:
            subjects.append(Subject(box, place, layout.ids[columns[0]]))
            follows = np.full(n, soil.follows[soil.grounds.index(box)])
            if (
                upsets is not None and box in garden.box_names
            ):  # an air probe in the bed makes them follow each other too
                follows &= ~upsets.as_soil[:, garden.box_names.index(box)]
            codes.append(_codes(follows))
            known.append(np.ones(n, dtype=np.bool_))
            values.append(np.full(n, np.nan))
            limits.append(np.nan)
    if upsets is not None and (OUTSIDE, "air") in layout.columns:
        for subject, holds in _upset_boxes(garden, layout, upsets):
            subjects.append(subject)
            codes.append(_codes(holds))
            known.append(np.ones(n, dtype=np.bool_))
            values.append(np.full(n, np.nan))
            limits.append(np.nan)
    if not subjects:
        return None
    return condition(
        "probe-disagrees", tuple(subjects), codes=np.stack(codes, axis=1), known=np.stack(known, axis=1),
        value_c=np.stack(values, axis=1), limit_c=np.array(limits, dtype=np.float64),
    )  # fmt: skip


def _upset_boxes(garden: Garden, layout: Layout, upsets: Upsets) -> list[tuple[Subject, np.ndarray]]:
    """Each box with an air probe, and where it hardly warms, reads as its soil, or as the outside."""
    found = []
    for b, box in enumerate(garden.box_names):
        air = layout.columns.get((box, "air"))
        if air:
            found.append((Subject(box), upsets.dimmed[:, b]))
        if air and (box, "soil") in layout.columns:
            found.append((Subject(box, "air", layout.ids[air[0]]), upsets.as_soil[:, b]))
            found.append((Subject(box, "lid"), upsets.as_outside[:, b]))
    return found


def _spread_c(values: np.ndarray) -> np.ndarray:
    here = ~np.isnan(values)
    high = np.where(here, values, -np.inf).max(axis=1)
    low = np.where(here, values, np.inf).min(axis=1)
    return np.where(here.sum(axis=1) > 1, high - low, np.nan)
