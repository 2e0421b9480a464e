"""Boxes: what a person did to one, told to the watch; and what its probes measured."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Query

from propstick.times import DAY_S
from propstick_api import history as past
from propstick_api.asked import AskDep
from propstick_api.deps import BoxName, PlaceName, ServiceDep, SiteDep
from propstick_api.schemas import AskedOut, HistoryOut, LidIn, OnIn, WateredIn
from propstick_api.spans import When, span

router = APIRouter(prefix="/v1/boxes/{box}", tags=["boxes"])


@router.get("/history")
def history(
    box: PlaceName,
    service: ServiceDep,
    site: SiteDep,
    begin: Annotated[When, Query(alias="from", examples=["2026-04-11"])] = None,
    end: Annotated[When, Query(alias="to", examples=["2026-04-12"])] = None,
    points: Annotated[int, Query(ge=1, le=2000, description="At most so many buckets")] = 300,
) -> HistoryOut:
    """Lowest, mean and highest of each place, in at most `points` buckets; the last day by default.

    From half an hour a bucket on, buckets are whole hours. Corrected values, as the watch has them.
    """
    from_s, to_s = span(begin, end, zone_name=site.garden.site.zone, now_s=service.now_s + 1, default_s=DAY_S)
    return past.history(site.readings, site.garden, box, from_s=from_s, to_s=to_s, points=points)


@router.post("/lid", status_code=202)
def lid(box: BoxName, wish: LidIn, ask: AskDep) -> AskedOut:
    """How far the lid is open, told by the person who moved it."""
    return ask("lid", box=box, opening=wish.opening)


@router.post("/cover", status_code=202)
def cover(box: BoxName, wish: OnIn, ask: AskDep) -> AskedOut:
    """A blanket or mat was put on, or taken off."""
    return ask("cover", box=box, on=wish.on)


@router.post("/hardening", status_code=202)
def hardening(box: BoxName, wish: OnIn, ask: AskDep) -> AskedOut:
    """Hardening off begins, to be told of in each evening brief, or ends."""
    return ask("hardening", box=box, on=wish.on)


@router.post("/watered", status_code=202)
def watered(box: BoxName, ask: AskDep, wish: Annotated[WateredIn | None, Body()] = None) -> AskedOut:
    """The box was watered, just now or at a moment of the last 60 days."""
    if wish is None or wish.at is None:
        return ask("watered", box=box)
    return ask("watered", box=box, at=wish.at.isoformat())


@router.post("/out-of-service", status_code=202)
def out_of_service(box: BoxName, wish: OnIn, ask: AskDep) -> AskedOut:
    """`on`: no alarms of this box until it is put back (`on` false)."""
    return ask("out-of-service", box=box, on=wish.on)
