"""The style sheet and the scripts. Only names known here are served."""

from __future__ import annotations

from importlib.resources import files

from fastapi import APIRouter, Response
from starlette.exceptions import HTTPException

router = APIRouter()

_KINDS = {"propstick.css": "text/css", "live.js": "text/javascript", "night.js": "text/javascript"}


@router.get("/static/{name}")
def static(name: str) -> Response:
    """One of our files; the browser asks again after five minutes, as an upgrade changes both together."""
    if name not in _KINDS:
        raise HTTPException(404, f"static: got {name[:60]!r}, expected one of {', '.join(_KINDS)}")
    body = files(__package__).joinpath("static", name).read_bytes()
    return Response(body, media_type=_KINDS[name], headers={"Cache-Control": "max-age=300"})
