"""Where a box serves best now: what the store and the garden file know of every spot and of the crops."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta

import numpy as np

from propstick.app.season.hours import PlotHours
from propstick.app.season.spots import SpotView, light_share
from propstick.edges.sowings import StoredSowing
from propstick.garden import OUTSIDE
from propstick.growing.coming import warming_c_per_day
from propstick.growing.crops import Crop, known
from propstick.growing.siting import CropsInHand, Siting, SpotFacts, siting
from propstick.growing.spots import Apart
from propstick.growing.take_away import QUIET_D, WEEK_D, frost_risk
from propstick.growing.warmth import hours_above
from propstick.limits import DEFAULT_LIMITS
from propstick.times import DAY_S

AHEAD_D = 30
"""A box that is moved stays for weeks: trees leaf, the sun climbs."""
LEAST_WEEK_H = 3 * 24
"""Hours of the last week with a reading, to say whether a spot overheats."""


def siting_of(
    plot: PlotHours,
    spots: Sequence[SpotView],
    apart: Apart,
    standing: Sequence[StoredSowing],
    crops: Mapping[str, Crop],
) -> Siting:
    """The recommendation.

    Args:
        standing: Every batch that stands now, in boxes and outside.
    """
    in_hand = _in_hand(plot, standing, crops)
    named = tuple(_facts(plot, in_hand, spot.name, spots) for spot in plot.garden.spots)
    described = {spot.name for spot in plot.garden.spots}
    homeless = tuple(
        _measured(
            plot, in_hand, box.spot or f"{box.name}'s place", (box.name,), is_named=False
        )
        for box in plot.garden.boxes
        if box.spot not in described
    )  # fmt: skip
    return siting(
        (*named, *homeless), in_hand,
        box_from_spot="" if apart.spot else apart.words, unit=plot.garden.site.unit,
    )  # fmt: skip


def _facts(plot: PlotHours, in_hand: CropsInHand, spot: str, views: Sequence[SpotView]) -> SpotFacts:
    boxes = tuple(box.name for box in plot.garden.boxes if box.spot == spot)
    view = next((one for one in views if one.spot == spot), None)
    obstacles = next(one.obstacles for one in plot.garden.spots if one.name == spot)
    if view is None:
        return _measured(plot, in_hand, spot, boxes)
    site, today = plot.garden.site, plot.today
    shares = [light_share(site, obstacles, day) for day in (today, today + timedelta(days=AHEAD_D))]
    loose = view.loose.sun if view.loose is not None else None
    return _measured(
        plot, in_hand, spot, boxes,
        sun_h=view.today.sun_h if loose is None else loose.sun_h,
        share=float(np.mean(shares)) if loose is None else loose.share,
        is_drawn=bool(obstacles) or loose is not None,
    )  # fmt: skip


def _measured(
    plot: PlotHours,
    in_hand: CropsInHand,
    name: str,
    boxes: tuple[str, ...],
    *,
    sun_h: float | None = None,
    share: float | None = None,
    is_drawn: bool = True,
    is_named: bool = True,
) -> SpotFacts:
    """Adds what boxes showed while they stood there: heat of the last week, frost of the last nights."""
    hot: list[int] = []
    cold: list[tuple[int, int]] = []
    for box in boxes:
        came_s = plot.stands_since(box)
        week = plot.time_s >= max(came_s, plot.now_s - WEEK_D * DAY_S)
        air = plot.boxes[box].hours.air_c[week]
        if (~np.isnan(air)).sum() >= LEAST_WEEK_H:
            hot.append(hours_above(air, in_hand.heat_limit_c))
        lows = [
            night.inside_c for night in plot.nights(box, days=QUIET_D)
            if night.inside_c is not None and (plot.today - night.night).days * DAY_S <= plot.now_s - came_s
        ]  # fmt: skip
        if lows:
            cold.append((sum(low < in_hand.frost_limit_c for low in lows), len(lows)))
    frost, nights = max(cold, default=(None, 0))
    return SpotFacts(
        spot=name, boxes=boxes, sun_h=sun_h, share=share, is_drawn=is_drawn, is_named=is_named,
        hot_hours=max(hot, default=None), frost_nights=frost, nights=nights,
    )  # fmt: skip


def _in_hand(plot: PlotHours, standing: Sequence[StoredSowing], crops: Mapping[str, Crop]) -> CropsInHand:
    limits: list[tuple[float | None, str | None]] = []
    waiting, heat_shy = [], []
    default = plot.garden.limits.over(DEFAULT_LIMITS)
    heats = [plot.garden.limits_for(box, plot.today).heat_c for box in plot.garden.box_names]
    for one in standing:
        crop = known(crops, one.crop)
        # A crop without a figure of its own counts with the default, as in the limits in force.
        own_c = crop.limits.frost_c if crop is not None else None
        limits.append((default.frost_c if own_c is None else own_c, one.crop))
        if not any((one.first_up, one.half_up, one.first_pick, one.flowering)):
            waiting.append(one.crop)
        if crop is not None and crop.bolting is not None and crop.bolting.heat_c is not None:
            heat_shy.append(crop.name)
    limit_c, tenderest = max(limits, key=lambda one: one[0] or 0.0, default=(default.frost_c, None))
    assert limit_c is not None
    heat_c = min((heat for heat in heats if heat is not None), default=default.heat_c)
    assert heat_c is not None
    box = plot.garden.box_names[0] if plot.garden.box_names else OUTSIDE
    lows = [night.outside_c for night in plot.nights(box, days=QUIET_D) if night.outside_c is not None]
    return CropsInHand(
        tenderest=tenderest,
        frost_limit_c=limit_c,
        heat_limit_c=heat_c,
        frost_risk=frost_risk(
            lows, limit_c=limit_c, warming_c_per_day=warming_c_per_day(plot.now_s, plot.garden.site.latitude)
        ),
        waiting=tuple(dict.fromkeys(waiting)),
        heat_shy=tuple(dict.fromkeys(heat_shy)),
    )
