"""How good the forecasts were: what was issued beside what came, and beside a plain method."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Query
from pydantic import Field

from propstick.engine.nights import night_of
from propstick.engine.scores import coverage, mean_absolute_error
from propstick.records import DayForecast, NightForecast
from propstick.times import DAY_S
from propstick_api.deps import ServiceDep, Site, SiteDep
from propstick_api.extremes import Book, day_highs, night_lows
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


def _nights(site: Site, first: date, last: date, begin_s: int, end_s: int) -> list[dict[str, Any]]:
    where = site.garden.site
    came = night_lows(site, site.garden, first - timedelta(days=1), last)
    grouped: dict[str, list[NightForecast]] = defaultdict(list)
    for forecast in site.journal.issued("nights", begin_s, end_s):
        if first <= forecast.night <= last:
            hour = night_of(where, forecast.night).issue_hour(forecast.issued_s)
            called = "evening brief" if hour < 1 else "2 h after sunset" if hour < 3 else "later in the night"
            grouped[f"night minimum, {called}"].append(forecast)
    return [
        _compared(
            name, "as last night", came, [(f.box, f.night, f.min_c, f.low_c, f.high_c) for f in forecasts]
        )
        for name, forecasts in sorted(grouped.items())
    ]


def _days(site: Site, first: date, last: date, begin_s: int, end_s: int) -> list[dict[str, Any]]:
    """Only the maximum expected with the lid as it stands can be compared with what came."""
    came = day_highs(site, site.garden, first - timedelta(days=1), last)
    found: list[DayForecast] = [
        f for f in site.journal.issued("days", begin_s, end_s) if f.lid == "as-is" and first <= f.day <= last
    ]
    if not found:
        return []
    values = [(f.box, f.day, f.max_c, f.low_c, f.high_c) for f in found]
    return [_compared("day maximum, lid as it stands", "as the day before", came, values)]


def _compared(
    name: str,
    plain: str,
    came: Book,
    said: list[tuple[str, date, float, float, float]],
) -> dict[str, Any]:
    nan = float("nan")
    observed = np.array([_value(came, day, box) for box, day, *_ in said])
    before = np.array([_value(came, day - timedelta(days=1), box) for box, day, *_ in said])
    middle, low, high = (np.array(column) for column in list(zip(*said, strict=True))[2:])
    both = ~(np.isnan(observed) | np.isnan(before) | np.isnan(middle))
    ours_c, plain_c = (
        mean_absolute_error(values[both], observed[both]) if both.any() else nan
        for values in (middle, before)
    )
    known = ~(np.isnan(observed) | np.isnan(middle))
    return {
        "forecast": name,
        "count": int(known.sum()),
        "error_c": _shown(mean_absolute_error(middle, observed) if known.any() else nan),
        "plain": plain,
        "plain_error_c": _shown(plain_c),
        "inside_90": _shown(coverage(low, high, observed)),
        "is_better": bool(ours_c < plain_c) if both.any() else None,
    }


def _value(came: Book, day: date, box: str) -> float:
    return came[day, box].value_c if (day, box) in came else float("nan")


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
