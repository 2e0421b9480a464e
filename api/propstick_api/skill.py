"""How good the forecasts were: what was issued beside what came, and beside a plain method."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, fields
from datetime import date, timedelta
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Query
from pydantic import Field

from propstick.engine.nights import night_of
from propstick.engine.scores import coverage, mean_absolute_error
from propstick.times import DAY_S
from propstick_api.deps import ServiceDep, Site, SiteDep
from propstick_api.extremes import Found, air_hours, day_highs, night_lows
from propstick_api.moments import day_span
from propstick_api.schemas import Out

router = APIRouter(prefix="/v1", tags=["skill"])

DEFAULT_DAYS = 60


class SkillOut(Out):
    """One kind of forecast. Errors are mean absolute ones [°C]; null where nothing can be compared."""

    forecast: str = Field(examples=["night minimum, 2 h after sunset"])
    count: int = Field(description="Forecasts with an outcome")
    error_c: float | None
    plain: str = Field(examples=["as last night"])
    plain_error_c: float | None = Field(description="The plain method's, over the same nights or days")
    inside_90: float | None = Field(description="Share of outcomes inside the stated 90 % interval")
    is_better: bool | None


class HeatSkillOut(Out):
    """Warnings of heat: right, wrong, and how early."""

    warned: int
    came: int
    withdrawn: int
    unwarned: int
    lead_minutes_median: float | None


class SkillsOut(Out):
    """All of them over a stretch of days."""

    first: str
    last: str
    skill: list[SkillOut]
    heat: HeatSkillOut


@router.get("/skill")
def skill(
    service: ServiceDep,
    site: SiteDep,
    begin: Annotated[date | None, Query(alias="from", examples=["2026-03-01"])] = None,
    end: Annotated[date | None, Query(alias="to", examples=["2026-04-30"])] = None,
) -> SkillsOut:
    """Every forecast that was issued compared with what came, and with the plain method beside it."""
    garden = site.garden
    first, last = day_span(
        begin, end, zone_name=garden.site.zone, now_s=service.now_s, default_days=DEFAULT_DAYS
    )
    begin_s = night_of(garden.site, first).start_s - 2 * DAY_S
    end_s = night_of(garden.site, last).end_s + 2 * DAY_S
    rows = [*_nights(site, first, last, begin_s, end_s), *_days(site, first, last, begin_s, end_s)]
    return SkillsOut(
        first=first.isoformat(),
        last=last.isoformat(),
        skill=[SkillOut(**row) for row in rows],
        heat=HeatSkillOut(**_heat(site.journal.alarms(begin_s, end_s))),
    )


@dataclass(frozen=True)
class Judged:
    """One forecast, what came, and what the plain method would have said [°C]; NaN where unknown."""

    middle_c: float
    low_c: float
    high_c: float
    observed_c: float
    plain_c: float


def _nights(site: Site, first: date, last: date, begin_s: int, end_s: int) -> list[dict[str, Any]]:
    """Judged by the lowest from issue to the night's end, which is what a forecast speaks of."""
    garden = site.garden
    hours = air_hours(site, garden, from_s=begin_s, to_s=end_s, which="low")
    before = night_lows(site, garden, first - timedelta(days=1), last)
    grouped: dict[str, list[Judged]] = defaultdict(list)
    for forecast in site.journal.issued("nights", begin_s, end_s):
        if not first <= forecast.night <= last:
            continue
        night = night_of(garden.site, forecast.night)
        came = None
        if forecast.box in hours:
            came = hours[forecast.box].between(max(forecast.issued_s, night.start_s), night.end_s)
        hour = night.issue_hour(forecast.issued_s)
        called = "evening brief" if hour < 1 else "2 h after sunset" if hour < 3 else "later in the night"
        grouped[f"night minimum, {called}"].append(
            Judged(
                forecast.min_c,
                forecast.low_c,
                forecast.high_c,
                _value(came),
                _value(before.get((forecast.night - timedelta(days=1), forecast.box))),
            )
        )
    return [_compared(name, "as last night", judged) for name, judged in sorted(grouped.items())]


def _days(site: Site, first: date, last: date, begin_s: int, end_s: int) -> list[dict[str, Any]]:
    """Only the maximum expected with the lid as it stands can be compared with what came."""
    came = day_highs(site, site.garden, first - timedelta(days=1), last)
    judged = [
        Judged(
            f.max_c,
            f.low_c,
            f.high_c,
            _value(came.get((f.day, f.box))),
            _value(came.get((f.day - timedelta(days=1), f.box))),
        )
        for f in site.journal.issued("days", begin_s, end_s)
        if f.lid == "as-is" and first <= f.day <= last
    ]
    return [_compared("day maximum, lid as it stands", "as the day before", judged)] if judged else []


def _compared(name: str, plain: str, judged: list[Judged]) -> dict[str, Any]:
    middle, low, high, observed, before = (
        np.array([getattr(one, field.name) for one in judged]) for field in fields(Judged)
    )
    known = ~(np.isnan(observed) | np.isnan(middle))
    both = known & ~np.isnan(before)
    ours_c = plain_c = float("nan")
    if both.any():
        ours_c = mean_absolute_error(middle[both], observed[both])
        plain_c = mean_absolute_error(before[both], observed[both])
    return {
        "forecast": name,
        "count": int(known.sum()),
        "error_c": _shown(mean_absolute_error(middle, observed)) if known.any() else None,
        "plain": plain,
        "plain_error_c": _shown(plain_c),
        "inside_90": _shown(coverage(low, high, observed)),
        "is_better": bool(ours_c < plain_c) if both.any() else None,
    }


def _value(found: Found | None) -> float:
    return float("nan") if found is None else found.value_c


def _heat(alarms: list[dict[str, Any]]) -> dict[str, Any]:
    ahead = [a for a in alarms if a["kind"] == "heat-ahead"]
    heat = [a for a in alarms if a["kind"] == "heat"]
    leads = [a["lead_minutes"] for a in heat if a["lead_minutes"] is not None and a["lead_minutes"] > 0]
    return {
        "warned": len(ahead),
        "came": sum(a["outcome"] == "came" for a in ahead),
        "withdrawn": sum(a["outcome"] == "withdrawn" for a in ahead),
        "unwarned": len(heat) - len(leads),
        "lead_minutes_median": round(float(np.median(leads)), 1) if leads else None,
    }


def _shown(value: float) -> float | None:
    return None if value != value else round(value, 3)
