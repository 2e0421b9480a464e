"""A recording sent in, through the watch's own decisions: what `propstick replay --json` says of it."""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from anyio import to_thread
from fastapi import APIRouter, Query, Request, Response
from starlette.exceptions import HTTPException

from propstick.errors import InputError
from propstick.times import DAY_S
from propstick_api.deps import ServiceDep
from propstick_api.schemas import Out

router = APIRouter(prefix="/v1", tags=["replay"])

LONGEST_DAYS = 200
_GZIP = b"\x1f\x8b"
_BODY = {
    "requestBody": {
        "required": True,
        "description": "A recording: CSV (`time`, then `<box>.<place>` columns) or SenML (RFC 8428)",
        "content": {
            "text/csv": {
                "schema": {"type": "string"},
                "example": "time,outside.air,north.air\n2026-04-12T18:00:00Z,6.1,9.4\n"
                "2026-04-12T18:01:00Z,6.1,9.3\n",
            },
            "application/senml+json": {"schema": {"type": "array", "items": {"type": "object"}}},
        },
    }
}


class ReplayOut(Out):
    """Every alarm, notice, brief and forecast the recording would have given."""

    site: dict
    alarms: list[dict]
    notices: list[dict]
    briefs: list[dict]
    heat: list[dict]
    nights: list[dict]
    days: list[dict]
    lids: list[dict]
    what_if: dict | None
    skill: list[dict]
    readings: dict


@router.post("/replay", response_model=ReplayOut, openapi_extra=_BODY)
async def replay(
    request: Request,
    service: ServiceDep,
    site: Annotated[str | None, Query(max_length=120, examples=["53.35,-6.26,Europe/Dublin"])] = None,
    settings: Annotated[
        list[Annotated[str, Query(max_length=120)]],
        Query(alias="set", max_length=50, examples=[["north.heat_c=26"]]),
    ] = [],  # noqa: B006
    unit: Literal["C", "F"] = "C",
) -> Response:
    """Runs a recording; a sowing of unknown crop is assumed in each box. One at a time."""
    data = await request.body()
    if not data.strip():
        raise InputError("recording: got nothing, expected CSV or SenML in the body")
    if data.startswith(_GZIP):
        raise HTTPException(415, "recording: got gzip, expected it unpacked")
    if not service.replaying.acquire(blocking=False):
        raise HTTPException(429, "replay: another one is under way", {"Retry-After": "10"})
    try:
        found = await to_thread.run_sync(lambda: _found(data, site=site, settings=settings, unit=unit))
    finally:
        service.replaying.release()
    return Response(json.dumps(found, ensure_ascii=False), media_type="application/json")


def _found(data: bytes, *, site: str | None, settings: list[str], unit: Literal["C", "F"]) -> dict[str, Any]:
    # The engine, which nothing else here needs: 5 MiB and a tenth of a second.
    from propstick.app import recording as recordings
    from propstick.app.replay.garden import garden_of, site_of, with_settings
    from propstick.app.replay.report import rows_between
    from propstick.app.replay.run import replay as play

    place = site_of(site, unit=unit) if site else None
    recording = recordings.read(data, unit=unit, zone=place.zone if place else None)
    garden = with_settings(garden_of(recording, site=place, unit=unit), settings)
    from_s, to_s = rows_between(recording, garden.step_s)
    if to_s - from_s > LONGEST_DAYS * DAY_S:
        raise InputError(
            f"recording: got {(to_s - from_s) // DAY_S} days, expected at most {LONGEST_DAYS}",
            hint="propstick replay takes longer ones",
        )
    return play(recording, garden).to_json()
