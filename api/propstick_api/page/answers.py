"""The forms that answer an alarm: the same wishes as `/v1/alarms`, and back to the page."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from anyio import to_thread
from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from starlette.exceptions import HTTPException

from propstick_api import alarms
from propstick_api.asked import Ask
from propstick_api.deps import Service, ServiceDep, Site, SiteDep
from propstick_api.page import words
from propstick_api.page.form_fields import fields_of
from propstick_api.schemas import ShelveIn

router = APIRouter()


@router.post("/alarms/acknowledge")
async def acknowledge(request: Request, service: ServiceDep, site: SiteDep) -> RedirectResponse:
    """A person has seen it."""
    return await _ask("acknowledge", await fields_of(request), service, site)


@router.post("/alarms/shelve")
async def shelve(request: Request, service: ServiceDep, site: SiteDep) -> RedirectResponse:
    """A person does not want to hear of it for so many hours."""
    return await _ask("shelve", await fields_of(request), service, site)


@router.post("/alarms/unshelve")
async def unshelve(request: Request, service: ServiceDep, site: SiteDep) -> RedirectResponse:
    """Takes it off the shelf."""
    return await _ask("unshelve", await fields_of(request), service, site)


async def _ask(kind: str, fields: dict[str, str], service: Service, site: Site) -> RedirectResponse:
    hours = fields.get("hours", "1")
    if kind == "shelve" and hours not in words.SHELVE_HOURS:
        raise HTTPException(
            422, f"hours: got {hours[:20]!r}, expected one of {', '.join(words.SHELVE_HOURS)}"
        )
    said = await to_thread.run_sync(_asked, kind, fields.get("id", "")[:200], int(hours), service, site)
    await service.live.look()  # so that the page it leads to knows of it
    return RedirectResponse("/" if said is None else f"/?said={said}", status_code=303)


def _asked(kind: str, alarm_id: str, hours: int, service: Service, site: Site) -> str | None:
    """Leaves the wish; a word for the page where there was nothing left to answer."""
    ask = Ask(service, site, Response())
    try:
        if kind == "shelve":
            until = datetime.fromtimestamp(service.now_s, UTC) + timedelta(hours=hours)
            alarms.shelve(alarm_id, ShelveIn(until=until), site, ask)
        else:
            answer = alarms.acknowledge if kind == "acknowledge" else alarms.unshelve
            answer(alarm_id, site, ask)
    except HTTPException as refused:
        if refused.status_code in (404, 409):
            return "over"
        raise
    return None
