"""What the season says of each box and spot: head start, nights saved, heat it cost, sun, water."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from itertools import pairwise
from typing import Any

import numpy as np

from propstick.app.season_hours import PlotHours
from propstick.app.season_loose import LooseView, loose_views
from propstick.edges.readings import ReadingLog
from propstick.edges.sowings import StoredSowing
from propstick.garden import OUTSIDE, Garden
from propstick.growing.coming import warming_c_per_day
from propstick.growing.head_start import HeadStart, head_start
from propstick.growing.hours import by_day
from propstick.growing.spots import (
    Apart,
    Shown,
    SpotDay,
    Stay,
    days_of_stay,
    local_offset_s,
    shown_by,
    spot_day,
    sun_by_month,
    told_apart,
)
from propstick.growing.take_away import Worth, worth_of
from propstick.growing.water import Moisture, WaterLost, box_loss_mm, water_lost
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.times import DAY_S, at_local, days_from, local_date

SHOWN_D = 45
"""Sun of a spot is taken from so many days: the sun climbs and trees leaf."""
NIGHTS_D = 150
_MIDNIGHT = time(0)


@dataclass(frozen=True, kw_only=True)
class BoxView:
    """One box: what it gained, saved, cost and lost. None where it cannot be said."""

    box: str
    spot: str | None
    head_start: HeadStart | None
    worth: Worth | None
    worth_words: str
    sun: Shown | None
    water: WaterLost | Moisture | None

    def to_json(self) -> dict[str, Any]:
        """For the API."""
        return {
            "box": self.box,
            "spot": self.spot,
            "head_start": None if self.head_start is None else self.head_start.to_json(),
            "worth": None if self.worth is None else {**self.worth.to_json(), "words": self.worth_words},
            "sun": None
            if self.sun is None
            else {
                "days": self.sun.days,
                "sun_h": round(self.sun.sun_h, 1),
                "excess_c": round(self.sun.excess_c, 1),
                "shaded_hours": list(self.sun.shaded),
            },
            "water": None if self.water is None else self.water.to_json(),
        }


@dataclass(frozen=True, kw_only=True)
class SpotView:
    """One spot from geometry: a cloudless day now, and by month; and what a loose probe showed there."""

    spot: str
    today: SpotDay
    by_month: dict[int, SpotDay]
    loose: LooseView | None = None

    def to_json(self) -> dict[str, Any]:
        """For the API."""
        return {
            "spot": self.spot,
            "sun_h": round(self.today.sun_h, 1),
            "open_sun_h": round(self.today.open_sun_h, 1),
            "share": round(self.today.share, 2),
            "sun_h_by_month": {str(month): round(one.sun_h, 1) for month, one in self.by_month.items()},
            "loose_probe": None if self.loose is None else self.loose.to_json(),
        }


def box_view(
    plot: PlotHours, box: str, standing: Sequence[StoredSowing], *, first_s: int, pick_s: float | None
) -> BoxView:
    """What the season says of a box.

    Args:
        standing: Batches in it now.
        first_s: Since when the season is counted.
        pick_s: The last expected first pick in it.
    """
    mine, outside, site = plot.boxes[box], plot.boxes[OUTSIDE], plot.garden.site
    season = plot.time_s >= first_s
    limits = plot.garden.limits_for(box, plot.today)
    nights = plot.nights(box, days=min(NIGHTS_D, max(1, (plot.now_s - first_s) // DAY_S)))
    week = mine.hours.air_c[plot.time_s >= plot.now_s - 7 * DAY_S]
    worth, words = None, ""
    if (~np.isnan(week)).any() or nights:
        assert limits.heat_c is not None
        assert limits.frost_c is not None
        worth = worth_of(
            nights, week, heat_limit_c=limits.heat_c, frost_limit_c=limits.frost_c,
            warming_c_per_day=warming_c_per_day(plot.now_s, site.latitude), today=plot.today,
            days_to_pick=None if pick_s is None else (pick_s - plot.now_s) / DAY_S,
        )  # fmt: skip
        words = worth.words(box, since=nights[0].night if nights else None, unit=site.unit)
    return BoxView(
        box=box,
        spot=plot.garden.box(box).spot,
        head_start=head_start(
            plot.time_s[season], mine.hours.air_c[season], outside.hours.air_c[season],
            latitude=site.latitude,
        ),
        worth=worth,
        worth_words=words,
        sun=_sun(plot, box),
        water=water_of(plot, box, standing),
    )  # fmt: skip


def water_of(plot: PlotHours, box: str, standing: Sequence[StoredSowing]) -> WaterLost | Moisture | None:
    """What a moisture probe said within a day; without one, water lost since the last watering told, else
    since the oldest batch in it was sown."""
    moisture = plot.boxes[box].moisture_pct[plot.time_s >= plot.now_s - DAY_S]
    if (~np.isnan(moisture)).any():
        limit_pct = plot.garden.limits_for(box, plot.today).dry_pct
        assert limit_pct is not None
        return Moisture(now_pct=float(moisture[~np.isnan(moisture)][-1]), limit_pct=limit_pct)
    site = plot.garden.site
    since, told = plot.watered.get(box), box in plot.watered
    sown = [one.sown for one in standing if one.sown is not None]
    if site.latitude is None or (since is None and not sown):
        return None
    first = min(sown) if since is None else local_date(since, site.zone)
    days = days_from(first, plot.today - timedelta(days=1))
    if not days:
        days = [plot.today]
    starts = np.array([at_local(day, _MIDNIGHT, site.zone) for day in (*days, days[-1] + timedelta(days=1))])
    outside, inside = plot.boxes[OUTSIDE], plot.boxes[box]
    high, low = _extremes(plot, outside.high_c, outside.low_c, starts)
    lost = box_loss_mm(
        np.array([day.timetuple().tm_yday for day in days], dtype=float),
        outside_high_c=high,
        outside_low_c=low,
        inside_mean_c=by_day(plot.time_s, inside.air.value_c, starts, least_h=12),
        latitude_deg=site.latitude,
        glazing=plot.garden.box(box).glazing,
        spot_share=_share(plot.garden, box, plot.today),
    )
    up = any(one.first_up is not None or one.half_up is not None for one in standing)
    return water_lost(lost, since=first, was_told=told, has_seedlings=up or not standing)


def spot_views(plot: PlotHours, log: ReadingLog) -> tuple[SpotView, ...]:
    """Every spot of the garden file, by geometry and by loose probes; empty without a position."""
    site = plot.garden.site
    if site.latitude is None or site.longitude is None:
        return ()
    position = {"latitude": site.latitude, "longitude": site.longitude, "zone": site.zone}
    loose = loose_views(plot, log)
    return tuple(
        SpotView(
            spot=spot.name,
            loose=loose.get(spot.name),
            today=spot_day(spot.obstacles, plot.today, **position),
            by_month=sun_by_month(spot.obstacles, year=plot.today.year, **position),
        )
        for spot in plot.garden.spots
    )


def spots_apart(plot: PlotHours) -> Apart:
    """Boxes and spots told apart by what they showed, where boxes have changed places."""
    site = plot.garden.site
    if site.latitude is None or site.longitude is None:
        return Apart(spot={}, box={}, words="without the garden's position nothing can be said of its sun")
    elevation, _ = solar_position(plot.time_s + 1800, site.latitude, site.longitude)
    clear = clear_sky_w_m2(elevation)
    outside = plot.boxes[OUTSIDE].hours.air_c
    stays = []
    bounds = [from_s for from_s, _ in plot.moves[1:]]
    for box in plot.garden.box_names:
        edges = [plot.now_s - 2 * SHOWN_D * DAY_S, *bounds, plot.now_s]
        for start_s, stop_s in pairwise(edges):
            spot = plot.spot_of(box, max(start_s, 0))
            inside = (plot.time_s >= start_s) & (plot.time_s < stop_s)
            if spot is None or not inside.any():
                continue
            excess = days_of_stay(
                plot.time_s[inside], plot.boxes[box].hours.air_c[inside], outside[inside], clear[inside]
            )
            stays += [Stay(box=box, spot=spot, excess_c=float(one)) for one in excess]
    return told_apart(stays)


def _sun(plot: PlotHours, box: str) -> Shown | None:
    site = plot.garden.site
    if site.latitude is None or site.longitude is None:
        return None
    recent = plot.time_s >= plot.now_s - SHOWN_D * DAY_S
    return shown_by(
        plot.time_s[recent],
        plot.boxes[box].hours.air_c[recent],
        plot.boxes[OUTSIDE].hours.air_c[recent],
        latitude=site.latitude,
        longitude=site.longitude,
        offset_s=local_offset_s(plot.now_s, site.zone),
    )


def _share(garden: Garden, box: str, day: date) -> float:
    site, spots = garden.site, {spot.name: spot for spot in garden.spots}
    spot = spots.get(garden.box(box).spot or "")
    if spot is None or site.latitude is None or site.longitude is None:
        return 1.0
    found = spot_day(spot.obstacles, day, latitude=site.latitude, longitude=site.longitude, zone=site.zone)
    # Behind an obstacle the sky still gives: about a third of a spring day's light comes from it.
    return found.share + (1.0 - found.share) / 3.0


def _extremes(
    plot: PlotHours, high_c: np.ndarray, low_c: np.ndarray, starts: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    days = len(starts) - 1
    high, low = np.full(days, np.nan), np.full(days, np.nan)
    edges = np.searchsorted(plot.time_s, starts)
    for k in range(days):
        part_high, part_low = high_c[edges[k] : edges[k + 1]], low_c[edges[k] : edges[k + 1]]
        if (~np.isnan(part_high)).sum() >= 18:
            high[k], low[k] = np.nanmax(part_high), np.nanmin(part_low)
    return high, low
