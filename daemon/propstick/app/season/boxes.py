"""What the season says of each box and spot: head start, nights saved, heat it cost, sun, water."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from typing import Any

import numpy as np

from propstick.app.season.hours import PlotHours
from propstick.app.season.spots import SHOWN_D, light_share, outside_extremes
from propstick.edges.sowings import StoredSowing
from propstick.garden import OUTSIDE
from propstick.growing.coming import warming_c_per_day
from propstick.growing.crops import Crop, known
from propstick.growing.head_start import HeadStart, head_start
from propstick.growing.hours import by_day
from propstick.growing.spots import Shown, local_offset_s, shown_by
from propstick.growing.take_away import Worth, worth_of
from propstick.growing.water import DEPLETION, Moisture, WaterLost, box_loss_mm, water_lost
from propstick.times import DAY_S, at_local, days_from, local_date

NIGHTS_D = 150
MONTH_D = 10
"""Days that stand for their month."""
_MIDNIGHT = time(0)


@dataclass(frozen=True, kw_only=True)
class BoxView:
    """One box: what it gained, saved, cost and lost. None where it cannot be said.

    Attributes:
        sun_months: Hours of sun a day on it, by month (its first day), while it stood where it stands now.
    """

    box: str
    spot: str | None
    head_start: HeadStart | None
    worth: Worth | None
    worth_words: str
    sun: Shown | None
    sun_months: tuple[tuple[date, float], ...]
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
                "sun_h_by_month": {f"{day:%Y-%m}": round(hours, 1) for day, hours in self.sun_months},
            },
            "water": None if self.water is None else self.water.to_json(),
        }


def box_view(
    plot: PlotHours,
    box: str,
    standing: Sequence[StoredSowing],
    crops: Mapping[str, Crop],
    *,
    first_s: int,
    pick_s: float | None,
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
        sun=_sun(plot, box, plot.now_s - SHOWN_D * DAY_S, plot.now_s),
        sun_months=_sun_months(plot, box, first_s),
        water=water_of(plot, box, standing, crops),
    )  # fmt: skip


def water_of(
    plot: PlotHours, box: str, standing: Sequence[StoredSowing], crops: Mapping[str, Crop]
) -> WaterLost | Moisture | None:
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
    high, low = outside_extremes(plot, days)
    spot = next((one for one in plot.garden.spots if one.name == plot.garden.box(box).spot), None)
    lost = box_loss_mm(
        np.array([day.timetuple().tm_yday for day in days], dtype=float),
        outside_high_c=high,
        outside_low_c=low,
        inside_mean_c=by_day(plot.time_s, plot.boxes[box].air.value_c, starts, least_h=12),
        latitude_deg=site.latitude,
        glazing=plot.garden.box(box).glazing,
        spot_share=light_share(site, spot.obstacles, plot.today) if spot is not None else 1.0,
    )
    up = any(one.first_up is not None or one.half_up is not None for one in standing)
    return water_lost(
        lost, since=first, was_told=told, has_seedlings=up or not standing,
        depletion=_depletion(standing, crops),
    )  # fmt: skip


def _depletion(standing: Sequence[StoredSowing], crops: Mapping[str, Crop]) -> float:
    """Of the crops that stand there, the one that feels a dry bed first."""
    found = [known(crops, one.crop) for one in standing]
    own = [DEPLETION if crop is None or crop.depletion is None else crop.depletion for crop in found]
    return min(own, default=DEPLETION)


def _sun(plot: PlotHours, box: str, first_s: int, stop_s: int) -> Shown | None:
    site = plot.garden.site
    if site.latitude is None or site.longitude is None:
        return None
    part = (plot.time_s >= first_s) & (plot.time_s < stop_s)
    return shown_by(
        plot.time_s[part],
        plot.boxes[box].hours.air_c[part],
        plot.boxes[OUTSIDE].hours.air_c[part],
        latitude=site.latitude,
        longitude=site.longitude,
        offset_s=local_offset_s(stop_s, site.zone),
    )


def _sun_months(plot: PlotHours, box: str, first_s: int) -> tuple[tuple[date, float], ...]:
    """Month by month since the season began and the box came to its spot; a month of few days is left out."""
    zone = plot.garden.site.zone
    begin_s = max(first_s, plot.stands_since(box))
    month, found = local_date(begin_s, zone).replace(day=1), []
    while (start_s := at_local(month, _MIDNIGHT, zone)) < plot.now_s:
        following = (month + timedelta(days=32)).replace(day=1)
        stop_s = min(at_local(following, _MIDNIGHT, zone), plot.now_s)
        shown = _sun(plot, box, max(start_s, begin_s), stop_s)
        if shown is not None and shown.days >= MONTH_D:
            found.append((month, shown.sun_h))
        month = following
    return tuple(found)
