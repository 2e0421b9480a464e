"""Now: the live view, a stream of it, and whether the watch is on time."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import APIRouter, Depends, Header, Response
from fastapi.sse import EventSourceResponse, ServerSentEvent
from starlette.exceptions import HTTPException

from propstick.times import utc_text
from propstick_api.deps import Service, ServiceDep, service_of
from propstick_api.live import MOST_STREAMS
from propstick_api.problems import MEDIA_TYPE, Problem, problem
from propstick_api.schemas import HealthOut, NowOut

router = APIRouter(prefix="/v1", tags=["now"])

RETRY_MS = 3000
"""After so long a browser asks again when the stream broke."""


@router.get("/now", response_model=NowOut)
async def now(service: ServiceDep) -> Response:
    """Everything the page shows: each box, its trend, forecasts, lid, advice, and the open alarms."""
    live = service.live
    if live.board is None:
        await live.look()
    if live.board is None:
        raise HTTPException(503, live.health().detail, headers={"Retry-After": "10"})
    return Response(live.body(live.board), media_type="application/json")


async def _place_in_line(service: Annotated[Service, Depends(service_of)]) -> AsyncIterator[None]:
    """One of the streams there may be, given back when it ends."""
    live = service.live
    if live.streams >= MOST_STREAMS:
        raise HTTPException(
            429, f"streams: got {live.streams} open, expected at most {MOST_STREAMS}", {"Retry-After": "30"}
        )
    live.streams += 1
    try:
        yield
    finally:
        live.streams -= 1


@router.get("/now/stream", response_class=EventSourceResponse, dependencies=[Depends(_place_in_line)])
async def stream(
    service: ServiceDep,
    last_event_id: Annotated[
        str | None, Header(max_length=40, description="The row seen last, as a browser sends it")
    ] = None,
) -> AsyncIterator[ServerSentEvent]:
    """The same object as server-sent events: one for each row; the event's id is the row's time.

    With `Last-Event-ID` the row seen last is not sent again. The stream goes on while the watch is down,
    and says so once in `health`.
    """
    live, version, seen = service.live, -1, last_event_id
    yield ServerSentEvent(comment="propstick", retry=RETRY_MS)
    while (board := await live.after(version)) is not None:
        version = live.version
        row = utc_text(board.row_s)
        if row != seen or not live.health().is_good:
            yield ServerSentEvent(raw_data=live.body(board).decode(), event="now", id=row)
        seen = None


@router.get(
    "/health",
    response_model=HealthOut,
    responses={503: {"description": "Late, or not started", "content": {MEDIA_TYPE: {}}, "model": Problem}},
)
async def health(service: ServiceDep) -> Response | HealthOut:
    """200 while the watch is on time; 503, as problem details, when its last row is older than 3 steps."""
    found = service.live.health()
    facts = {
        "row": None if found.row_s is None else utc_text(found.row_s),
        "age_s": found.age_s,
        "step_s": found.step_s,
        "streams": service.live.streams,
        "troubles": service.live.board.view["troubles"] if service.live.board is not None else [],
    }
    if found.is_good:
        return HealthOut(status="watching", **facts)
    extra = {"watch": found.status, **facts}
    return problem(503, found.detail, headers={"Retry-After": str(found.step_s)}, **extra)
