"""How good the forecasts were: what was issued beside what came, and beside plain methods."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import Field

from propstick_api.deps import ServiceDep, SiteDep
from propstick_api.schemas import Out
from propstick_api.spans import day_span

router = APIRouter(prefix="/v1", tags=["skill"])

DEFAULT_DAYS = 30


class SkillOut(Out):
    """One kind of forecast beside one plain method, or the warnings of one kind.

    Errors are mean absolute ones [°C]; chances are scored by Brier's rule, 0 is perfect. Null where
    nothing can be compared; keys that do not apply to a kind of forecast are left out.
    """

    forecast: str = Field(examples=["night minimum, 2 h after sunset"])
    count: int | None = Field(default=None, description="Forecasts with an outcome")
    compared: int | None = Field(default=None, description="Those of them that the plain method has too")
    error_c: float | None = None
    bias_c: float | None = Field(default=None, description="Mean of forecast less outcome")
    inside_90: float | None = Field(
        default=None, description="Share of outcomes inside the stated 90 % interval"
    )
    width_c: float | None = Field(default=None, description="Mean width of that interval")
    plain: str | None = Field(default=None, examples=["last night's minimum"])
    plain_error_c: float | None = Field(default=None, description="The plain method's, over the same cases")
    brier: float | None = None
    plain_brier: float | None = None
    came: int | None = None
    reliability: list[dict[str, float]] | None = Field(
        default=None, description="Stated chance, share that came and count, by fifths of the stated chance"
    )
    hits: int | None = Field(default=None, description="At a chance above 0.3")
    misses: int | None = None
    false: int | None = None
    plain_warning: str | None = None
    plain_hits: int | None = None
    plain_misses: int | None = None
    plain_false: int | None = None
    warned: int | None = Field(default=None, description="Warnings that went out")
    withdrawn: int | None = None
    unwarned: int | None = None
    crossings: int | None = None
    warned_10_min: int | None = Field(default=None, description="Crossings warned of so early at least")
    warned_20_min: int | None = None
    false_per_box_week: float | None = None
    lead_minutes_median: float | None = None
    is_better: bool | None = Field(default=None, description="Null while there are too few cases to say")
    verdict: str | None = Field(default=None, examples=["no better than last night's fall"])


class SkillsOut(Out):
    """All of them over a stretch of days."""

    first: str
    last: str
    skill: list[SkillOut]


@router.get("/skill", response_model_exclude_unset=True)
def skill(
    service: ServiceDep,
    site: SiteDep,
    begin: Annotated[date | None, Query(alias="from", examples=["2026-03-01"])] = None,
    end: Annotated[date | None, Query(alias="to", examples=["2026-04-30"])] = None,
) -> SkillsOut:
    """Every forecast that was issued compared with what came, and with the plain methods beside it.

    The same marks as `propstick replay` gives for a recording.
    """
    # Read when first asked for: until then it would only take memory.
    from propstick.app.skill.stored import stored_skill

    garden = site.garden
    first, last = day_span(
        begin, end, zone_name=garden.site.zone, now_s=service.now_s, default_days=DEFAULT_DAYS
    )
    found = stored_skill(site.store, garden, first, last)
    return SkillsOut(first=first.isoformat(), last=last.isoformat(), skill=[SkillOut(**one) for one in found])
