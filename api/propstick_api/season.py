"""A season: warmth gathered inside against outside, heat and frost by the hour, nights the boxes saved."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time, timedelta
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Query
from pydantic import Field

from propstick.edges.sowings import StoredSowing
from propstick.garden import OUTSIDE, Garden
from propstick.growing.warmth import BASE_C, degree_days
from propstick.times import at_local, days_from
from propstick.units import FloatArray
from propstick_api.deps import ServiceDep, Site, SiteDep
from propstick_api.extremes import Book, night_lows
from propstick_api.history import hourly
from propstick_api.schemas import Out
from propstick_api.spans import day_span

router = APIRouter(prefix="/v1", tags=["season"])

_MIDNIGHT = time(0)
DEFAULT_DAYS = 120


class SeasonBoxOut(Out):
    """One box (or the open ground) over the season; sums from hourly means."""

    box: str
    spot: str | None
    warmth: list[float | None] = Field(description="Degree days above the base, gathered by each day's end")
    hours_known: int = Field(description="Hours with a reading")
    too_hot_degree_hours: float | None
    too_cold_degree_hours: float | None
    nights_saved: int | None = Field(description="Nights below the frost limit outside and not inside")
    nights_below_limit: int | None


class SeasonSowingOut(Out):
    """A sowing as a point on the curve of its box."""

    id: int
    crop: str
    box: str
    sown: str | None
    first_up: str | None
    first_pick: str | None
    warmth_at_sowing: float | None
    warmth_since: float | None


class WarningsOut(Out):
    """Forecasting alarms and what became of them."""

    came: int
    withdrawn: int
    unannounced: int = Field(description="Heat or frost that no forecast had told of")


class SeasonOut(Out):
    """The season day by day."""

    first: str
    last: str
    base_c: float
    days: list[str]
    boxes: list[SeasonBoxOut]
    outside: SeasonBoxOut | None
    sowings: list[SeasonSowingOut]
    warnings: WarningsOut


@router.get("/season")
def season(
    service: ServiceDep,
    site: SiteDep,
    begin: Annotated[date | None, Query(alias="from", examples=["2026-02-01"])] = None,
    end: Annotated[date | None, Query(alias="to", examples=["2026-05-31"])] = None,
    base_c: Annotated[float, Query(ge=-5, le=20, description="Warmth counts above it [°C]")] = BASE_C,
) -> SeasonOut:
    """Warmth gathered in each box and outside, degree hours beyond the limits, nights saved, sowings."""
    garden = site.garden
    first, last = day_span(
        begin, end, zone_name=garden.site.zone, now_s=service.now_s, default_days=DEFAULT_DAYS
    )
    return SeasonOut(**season_of(site, garden, first, last, base_c=base_c))


@router.get("/season/outlook")
def season_outlook(
    service: ServiceDep,
    site: SiteDep,
    every_days: Annotated[float, Query(ge=3, le=60, description="Wished days from pick to pick")] = 14.0,
) -> dict[str, Any]:
    """Batch by batch when it comes up and is picked, and when to sow next; what each box gained, saved,
    cost and lost; sun of the spots. The object of `propstick season --json`."""
    from propstick.app.season.report import season_report  # only when somebody asks

    report = season_report(
        site.store, site.garden, service.now_s, garden_file=service.settings.path, every_d=every_days
    )
    return report.to_json()


@dataclass(frozen=True)
class Hours:
    """Hourly mean air of a place, NaN where nothing was measured; shape (h,)."""

    air_c: FloatArray
    day: np.ndarray
    """Which day of the season each hour belongs to, (h,); -1: none."""


def season_of(site: Site, garden: Garden, first: date, last: date, *, base_c: float) -> dict[str, Any]:
    """The season's object; both days included."""
    days = days_from(first, last)
    starts_s = [at_local(day, _MIDNIGHT, garden.site.zone) for day in (*days, last + timedelta(days=1))]
    names = (*garden.box_names, OUTSIDE)
    hours = {name: _hours(site, garden, name, starts_s) for name in names}
    warmth = {name: _warmth(one, len(days), base_c) for name, one in hours.items() if one is not None}
    begin_s, end_s = starts_s[0], starts_s[-1]
    minima = night_lows(site, garden, first, last)
    boxes = [_box(garden, name, hours[name], warmth.get(name), minima, days) for name in garden.box_names]
    outside = None
    if hours[OUTSIDE] is not None:
        outside = _box(garden, OUTSIDE, hours[OUTSIDE], warmth[OUTSIDE], minima, days)
    return {
        "first": first.isoformat(),
        "last": last.isoformat(),
        "base_c": base_c,
        "days": [day.isoformat() for day in days],
        "boxes": boxes,
        "outside": outside,
        "sowings": [
            _sowing(one, warmth.get(one.box), first, last)
            for one in site.sowings.all()
            if (one.sown is None or one.sown <= last) and (one.cleared is None or one.cleared >= first)
        ],
        "warnings": _warnings(site, begin_s, end_s),
    }


def _hours(site: Site, garden: Garden, box: str, starts_s: list[int]) -> Hours | None:
    found = hourly(site.readings, garden, box, "air", which="mean", from_s=starts_s[0], to_s=starts_s[-1])
    if found is None:
        return None
    hour_s, air_c = found
    day = np.searchsorted(np.array(starts_s), hour_s, side="right") - 1
    day[(hour_s < starts_s[0]) | (hour_s >= starts_s[-1])] = -1
    return Hours(air_c, day)


def _warmth(hours: Hours, days: int, base_c: float) -> FloatArray:
    """Degree days above the base by the end of each day, (d,). An hour without a reading adds nothing."""
    known = ~np.isnan(hours.air_c) & (hours.day >= 0)
    gained = degree_days(hours.air_c[known], base_c=base_c)
    return np.cumsum(np.bincount(hours.day[known], weights=gained, minlength=days)[:days])


def _box(
    garden: Garden,
    name: str,
    hours: Hours | None,
    warmth: FloatArray | None,
    minima: Book,
    days: list[date],
) -> dict[str, Any]:
    shown: dict[str, Any] = {
        "box": name,
        "spot": None if name == OUTSIDE else garden.box(name).spot,
        "warmth": [None] * len(days),
        "hours_known": 0,
        "too_hot_degree_hours": None,
        "too_cold_degree_hours": None,
        "nights_saved": None,
        "nights_below_limit": None,
    }
    if hours is None or warmth is None:
        return shown
    known = ~np.isnan(hours.air_c) & (hours.day >= 0)
    shown["warmth"] = [round(value, 2) for value in warmth.tolist()]
    shown["hours_known"] = int(known.sum())
    if name == OUTSIDE:
        return shown
    limits = [garden.limits_for(name, day) for day in days]
    heat = np.array([one.heat_c for one in limits], dtype=float)[hours.day[known]]
    frost = np.array([one.frost_c for one in limits], dtype=float)[hours.day[known]]
    air = hours.air_c[known]
    shown["too_hot_degree_hours"] = round(float(np.maximum(air - heat, 0.0).sum()), 1)
    shown["too_cold_degree_hours"] = round(float(np.maximum(frost - air, 0.0).sum()), 1)
    frost_on = {day: one.frost_c for day, one in zip(days, limits, strict=True)}
    mine = {day: one.value_c for (day, box), one in minima.items() if box == name}
    cold = [day for day, value in mine.items() if value < frost_on[day]]
    spared = [
        day
        for day, value in mine.items()
        if value >= frost_on[day]
        and (day, OUTSIDE) in minima
        and minima[day, OUTSIDE].value_c < frost_on[day]
    ]
    shown["nights_saved"], shown["nights_below_limit"] = len(spared), len(cold)
    return shown


def _sowing(sowing: StoredSowing, warmth: FloatArray | None, first: date, last: date) -> dict[str, Any]:
    shown = sowing.to_json()
    at = since = None
    if warmth is not None and sowing.sown is not None and sowing.sown >= first:
        k = (min(sowing.sown, last) - first).days
        at = round(float(warmth[k - 1]) if k else 0.0, 2)
        until = min(sowing.cleared or last, last)
        since = round(float(warmth[(until - first).days]) - at, 2)
    keys = ("id", "crop", "box", "sown", "first_up", "first_pick")
    return {**{key: shown[key] for key in keys}, "warmth_at_sowing": at, "warmth_since": since}


def _warnings(site: Site, begin_s: int, end_s: int) -> dict[str, int]:
    # Read when first asked for: until then it would only take memory.
    from propstick.app.replay.lived_night import alarm_of
    from propstick.app.skill.tally import tally

    found = tally([alarm_of(one) for one in site.journal.alarms(begin_s, end_s)])
    return {"came": found.came, "withdrawn": found.withdrawn, "unannounced": found.unannounced}
