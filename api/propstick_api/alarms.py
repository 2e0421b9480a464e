"""Alarms: those that stand, those that stood, and a person's answers to them."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from starlette.exceptions import HTTPException

from propstick.times import DAY_S
from propstick_api.asked import AskDep
from propstick_api.deps import ServiceDep, Site, SiteDep
from propstick_api.schemas import AlarmOut, AlarmsOut, AskedOut, ShelveIn
from propstick_api.spans import When, span

router = APIRouter(prefix="/v1/alarms", tags=["alarms"])

AlarmId = Annotated[
    str, Path(max_length=200, description="As in the alarm's `id`", examples=["north.heat.20260412T101500Z"])
]


@router.get("")
def alarms(
    service: ServiceDep,
    site: SiteDep,
    begin: Annotated[When, Query(alias="from", examples=["2026-04-01"])] = None,
    end: Annotated[When, Query(alias="to", examples=["2026-05-01"])] = None,
    limit: Annotated[int, Query(ge=1, le=5000, description="At most so many, the newest")] = 1000,
) -> AlarmsOut:
    """Alarms that are open now; or, with `from` or `to`, all that stood at any time between."""
    if begin is None and end is None:
        found = site.journal.open_alarms()
    else:
        from_s, to_s = span(
            begin, end, zone_name=site.garden.site.zone, now_s=service.now_s + 1, default_s=7 * DAY_S
        )
        found = site.journal.alarms(from_s, to_s)
    return AlarmsOut(alarms=[AlarmOut(**a) for a in found[-limit:]], more=len(found) > limit)


@router.get("/{alarm_id:path}")
def alarm(alarm_id: AlarmId, site: SiteDep) -> AlarmOut:
    """One alarm, also one that is over."""
    return AlarmOut(**_known(site, alarm_id))


@router.post("/{alarm_id:path}/acknowledge", status_code=202)
def acknowledge(alarm_id: AlarmId, site: SiteDep, ask: AskDep) -> AskedOut:
    """A person has seen it."""
    _open(site, alarm_id)
    return ask("acknowledge", id=alarm_id)


@router.post("/{alarm_id:path}/shelve", status_code=202)
def shelve(alarm_id: AlarmId, wish: ShelveIn, site: SiteDep, ask: AskDep) -> AskedOut:
    """A person does not want to hear of it until then."""
    _open(site, alarm_id)
    return ask("shelve", id=alarm_id, until=wish.until.isoformat())


@router.post("/{alarm_id:path}/unshelve", status_code=202)
def unshelve(alarm_id: AlarmId, site: SiteDep, ask: AskDep) -> AskedOut:
    """Takes it off the shelf."""
    _open(site, alarm_id)
    return ask("unshelve", id=alarm_id)


def _known(site: Site, alarm_id: str) -> dict[str, Any]:
    found = site.journal.alarm(alarm_id)
    if found is None:
        raise HTTPException(404, f"alarm {alarm_id!r}: there is none, expected an id of GET /v1/alarms")
    return found


def _open(site: Site, alarm_id: str) -> None:
    if _known(site, alarm_id)["state"] == "normal":
        raise HTTPException(409, f"alarm {alarm_id!r}: it is over, expected one that stands")
