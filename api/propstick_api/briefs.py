"""Briefs as they were sent."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query

from propstick.times import DAY_S
from propstick_api.deps import ServiceDep, SiteDep
from propstick_api.schemas import Out
from propstick_api.spans import When, span

router = APIRouter(prefix="/v1", tags=["briefs"])


class BriefLineOut(Out):
    """What to do with one lid, by when, and why."""

    box: str
    advice: str
    by: str | None
    opening: float | None
    reason: str


class BriefOut(Out):
    """The message before leaving home, or before dusk."""

    issued: str
    which: str
    date: str
    lines: list[BriefLineOut]
    text: str


class BriefsOut(Out):
    """Oldest first; `more`: older ones of the stretch were left out."""

    briefs: list[BriefOut]
    more: bool


@router.get("/briefs")
def briefs(
    service: ServiceDep,
    site: SiteDep,
    begin: Annotated[When, Query(alias="from")] = None,
    end: Annotated[When, Query(alias="to")] = None,
    limit: Annotated[int, Query(ge=1, le=2000, description="At most so many, the newest")] = 100,
) -> BriefsOut:
    """Morning and evening briefs; those of the last week by default."""
    from_s, to_s = span(
        begin, end, zone_name=site.garden.site.zone, now_s=service.now_s + 1, default_s=7 * DAY_S
    )
    found = site.journal.briefs(from_s, to_s)
    return BriefsOut(briefs=[BriefOut(**b.to_json()) for b in found[-limit:]], more=len(found) > limit)
