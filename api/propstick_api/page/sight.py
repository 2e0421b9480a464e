"""`/` and the part of it that the script fetches anew with every row."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated

from anyio import to_thread
from fastapi import APIRouter, Header, Query
from fastapi.responses import HTMLResponse

from propstick.engine.nights import night_of
from propstick.errors import StoreError
from propstick.garden import Garden
from propstick.times import local_date
from propstick_api.deps import Service, ServiceDep
from propstick_api.page import words
from propstick_api.page.home import first_sight
from propstick_api.page.layout import page
from propstick_api.page.markup import Safe
from propstick_api.page.reading import Reading

router = APIRouter()

Language = Annotated[str, Header(alias="Accept-Language", max_length=500)]


@router.get("/")
async def sight(
    service: ServiceDep,
    language: Language = "",
    said: Annotated[str, Query(max_length=20)] = "",
) -> HTMLResponse:
    """The first sight, whole."""
    body = await _body(service, language, said=words.SAID.get(said, ""))
    title = words.TITLE.format(site=service.settings.garden.site.name)
    return page(title, body, here="/", is_live=True)


@router.get("/fragment")
async def fragment(service: ServiceDep, language: Language = "") -> HTMLResponse:
    """What stands inside its `main`."""
    return HTMLResponse(await _body(service, language))


async def _body(service: Service, language: str, *, said: str = "") -> Safe:
    live = service.live
    if live.board is None:
        await live.look()
    garden = await to_thread.run_sync(garden_of, service)
    return first_sight(
        None if live.board is None else live.board.view,
        live.health(),
        Reading(garden, accept_language=language),
        now_s=service.now_s,
        is_night=_is_night(garden, service.now_s),
        said=said,
    )


def garden_of(service: Service) -> Garden:
    """The garden as it is now; as it was at the start while the store cannot be read."""
    try:
        return service.door().garden
    except StoreError:
        return service.settings.garden


def _is_night(garden: Garden, now_s: int) -> bool:
    """Whether the sun is down, where the site is known."""
    today = local_date(now_s, garden.site.zone)
    nights = [night_of(garden.site, day) for day in (today - timedelta(days=1), today)]
    return any(one.by_sun and one.sunset_s <= now_s < one.sunrise_s for one in nights)
