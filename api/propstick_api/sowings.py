"""Sowings: written down, changed, taken back. Nothing is deleted, every change is kept with its time."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Response
from starlette.exceptions import HTTPException

from propstick.app.moments import in_years
from propstick.edges.sowing_fields import check_has_been
from propstick.errors import InputError
from propstick.garden import OUTSIDE
from propstick.times import local_date
from propstick_api.asked import LARGEST_ID
from propstick_api.deps import OnceKey, ServiceDep, Site, SiteDep
from propstick_api.schemas import SowingChangeIn, SowingFields, SowingIn, SowingOut, SowingsOut

router = APIRouter(prefix="/v1/sowings", tags=["sowings"])

SowingId = Annotated[int, Path(ge=1, le=LARGEST_ID)]


@router.get("")
def sowings(
    site: SiteDep,
    removed: Annotated[bool, Query(description="Also those taken back")] = False,
) -> SowingsOut:
    """Every sowing, in the order of writing down."""
    return SowingsOut(sowings=[SowingOut(**s.to_json()) for s in site.sowings.all(removed=removed)])


@router.get("/{sowing_id}")
def sowing(sowing_id: SowingId, site: SiteDep) -> SowingOut:
    """One sowing, also one taken back."""
    _must_be(site, sowing_id)
    return SowingOut(**site.sowings.get(sowing_id).to_json())


@router.post("", status_code=201)
def sow(
    wish: SowingIn, service: ServiceDep, site: SiteDep, response: Response, key: OnceKey = None
) -> SowingOut:
    """Writes down a sowing. A crop without published figures is taken as it is named."""
    made = site.sowings.add(_fields(wish, site, service.now_s), by="page", key=key, at_s=service.now_s)
    response.headers["Location"] = f"/v1/sowings/{made.id}"
    return SowingOut(**made.to_json())


@router.patch("/{sowing_id}")
def change(sowing_id: SowingId, wish: SowingChangeIn, service: ServiceDep, site: SiteDep) -> SowingOut:
    """Changes some fields; `removed: false` puts back what was taken back."""
    _must_be(site, sowing_id)
    fields = _fields(wish, site, service.now_s)
    if "removed" in wish.model_fields_set:
        site.sowings.put_back(sowing_id, by="page", at_s=service.now_s)
    return SowingOut(**site.sowings.change(sowing_id, fields, by="page", at_s=service.now_s).to_json())


@router.delete("/{sowing_id}")
def take_back(sowing_id: SowingId, service: ServiceDep, site: SiteDep) -> SowingOut:
    """Takes a sowing back as a mistake: it is marked, stays readable, and can be put back."""
    _must_be(site, sowing_id)
    return SowingOut(**site.sowings.remove(sowing_id, by="page", at_s=service.now_s).to_json())


def _fields(wish: SowingFields, site: Site, now_s: int) -> dict[str, Any]:
    fields = wish.model_dump(exclude_unset=True, exclude={"removed"})
    for name, value in fields.items():
        if hasattr(value, "year"):
            in_years(value, what=f"sowing, {name}")
    check_has_been(fields, today=local_date(now_s, site.garden.site.zone))
    names = (*site.garden.box_names, OUTSIDE)
    if "box" in fields and fields["box"] not in names:
        raise InputError(f"sowing, box: got {fields['box'][:60]!r}, expected one of {', '.join(names)}")
    return fields


def _must_be(site: Site, sowing_id: int) -> None:
    if site.sowings.get(sowing_id) is None:
        raise HTTPException(404, f"sowing {sowing_id}: there is none")
