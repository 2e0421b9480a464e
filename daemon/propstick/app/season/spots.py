"""What the season says of each spot: sun by geometry, light, loose probes, and boxes told from spots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from itertools import pairwise
from typing import Any

import numpy as np

from propstick.app.season.hours import PlotHours
from propstick.app.season.loose import LooseView, loose_views
from propstick.edges.readings import ReadingLog
from propstick.garden import OUTSIDE, Obstacle, Site
from propstick.growing.light import DIFFUSE_LIGHT, LIGHT_D, SpotLight, spot_light
from propstick.growing.spots import Apart, SpotDay, Stay, days_of_stay, spot_day, sun_by_month, told_apart
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.times import DAY_S, at_local, days_from
from propstick.units import FloatArray

SHOWN_D = 45
"""Sun of a spot is taken from so many days: the sun climbs and trees leaf."""
SKY_SHARE = 1.0 / 3.0
"""Behind an obstacle the sky still gives: a third of a spring day's light. Common practice, no source."""
LEAST_HOURS = 18
"""Of a day's hours, to say how warm and how cold it was."""
_MIDNIGHT = time(0)


@dataclass(frozen=True, kw_only=True)
class SpotView:
    """One spot from geometry, now and by month; its light; what a loose probe showed there."""

    spot: str
    today: SpotDay
    by_month: dict[int, SpotDay]
    light: SpotLight
    loose: LooseView | None = None

    def to_json(self) -> dict[str, Any]:
        """For the API."""
        return {
            "spot": self.spot,
            "sun_h": round(self.today.sun_h, 1),
            "open_sun_h": round(self.today.open_sun_h, 1),
            "share": round(self.today.share, 2),
            "sun_h_by_month": {str(month): round(one.sun_h, 1) for month, one in self.by_month.items()},
            "light": self.light.to_json(),
            "loose_probe": None if self.loose is None else self.loose.to_json(),
        }


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
            light=_light(plot, spot.name, spot.obstacles),
        )
        for spot in plot.garden.spots
    )


def _light(plot: PlotHours, spot: str, obstacles: Sequence[Obstacle]) -> SpotLight:
    site = plot.garden.site
    assert site.latitude is not None
    days = days_from(plot.today - timedelta(days=LIGHT_D), plot.today - timedelta(days=1))
    high, low = outside_extremes(plot, days)
    glazing = next((box.glazing for box in plot.garden.boxes if box.spot == spot), None)
    return spot_light(
        np.array([day.timetuple().tm_yday for day in days], dtype=float),
        latitude_deg=site.latitude, share=light_share(site, obstacles, plot.today), high_c=high, low_c=low,
        through_glass=None if glazing is None else DIFFUSE_LIGHT[glazing],
    )  # fmt: skip


def light_share(site: Site, obstacles: Sequence[Obstacle], day: date) -> float:
    """Share of an open place's light that reaches a spot, from sun and sky; 1 without a position."""
    if site.latitude is None or site.longitude is None:
        return 1.0
    found = spot_day(obstacles, day, latitude=site.latitude, longitude=site.longitude, zone=site.zone)
    return found.share + (1.0 - found.share) * SKY_SHARE


def outside_extremes(plot: PlotHours, days: Sequence[date]) -> tuple[FloatArray, FloatArray]:
    """Highest and lowest air outside of each day; NaN where it was not measured for most of it."""
    zone, outside = plot.garden.site.zone, plot.boxes[OUTSIDE]
    starts = [at_local(day, _MIDNIGHT, zone) for day in (*days, days[-1] + timedelta(days=1))]
    edges = np.searchsorted(plot.time_s, starts)
    high, low = np.full(len(days), np.nan), np.full(len(days), np.nan)
    for k in range(len(days)):
        part_high, part_low = (one[edges[k] : edges[k + 1]] for one in (outside.high_c, outside.low_c))
        if (~np.isnan(part_high)).sum() >= LEAST_HOURS:
            high[k], low[k] = np.nanmax(part_high), np.nanmin(part_low)
    return high, low


def spots_apart(plot: PlotHours) -> Apart:
    """Boxes and spots told apart by what they showed, where boxes have changed places."""
    site = plot.garden.site
    if site.latitude is None or site.longitude is None:
        return Apart(spot={}, box={}, words="without the garden's position nothing can be said of its sun")
    elevation, _ = solar_position(plot.time_s + 1800, site.latitude, site.longitude)
    clear = clear_sky_w_m2(elevation)
    outside = plot.boxes[OUTSIDE].hours.air_c
    if np.isnan(outside).all():
        return Apart(
            spot={}, box={}, words="without an air probe outside, boxes and spots cannot be compared"
        )
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
