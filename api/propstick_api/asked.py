"""Requests to the watch: it alone changes alarms, so all that is written here is a wish."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Response
from starlette.exceptions import HTTPException

from propstick.app.live.newsdesk import news_of
from propstick.edges.requests import Request as Wish
from propstick.times import utc_text
from propstick_api.deps import OnceKey, Service, ServiceDep, Site, SiteDep
from propstick_api.schemas import AskedOut

router = APIRouter(prefix="/v1", tags=["requests"])

LARGEST_ID = 2**53


@router.get("/requests/{request_id}")
def asked(request_id: Annotated[int, Path(ge=1, le=LARGEST_ID)], site: SiteDep) -> AskedOut:
    """What became of a request."""
    wish = site.requests.get(request_id)
    if wish is None:
        raise HTTPException(404, f"request {request_id}: there is none")
    return _shown(wish)


@dataclass(frozen=True)
class Ask:
    """Leaves requests for the watch, for one request to us.

    Attributes:
        response: Gets a header that says where to see what becomes of it.
        key: The same key again is the same request.
    """

    service: Service
    site: Site
    response: Response
    key: str | None = None

    def __call__(self, kind: str, **body: Any) -> AskedOut:
        """Leaves one.

        Raises:
            InputError: the watch would refuse it.
        """
        now_s = self.service.now_s
        known = frozenset({str(body["id"])} if "id" in body else ())
        news_of(kind, body, row_s=now_s, garden=self.site.garden, known_alarms=known)
        made = self.site.requests.add(kind, body, by="page", key=self.key, made_s=now_s)
        wish = self.site.requests.get(made)
        assert wish is not None
        shown = _shown(wish)
        self.response.headers["Location"] = shown.see
        return shown


def ask_of(service: ServiceDep, site: SiteDep, response: Response, key: OnceKey = None) -> Ask:
    """How a route leaves a request for the watch."""
    return Ask(service, site, response, key)


AskDep = Annotated[Ask, Depends(ask_of)]


def _shown(wish: Wish) -> AskedOut:
    taken = wish.taken_row_s
    state = "waiting" if taken is None else "taken" if wish.refused is None else "refused"
    return AskedOut(
        id=wish.id,
        kind=wish.kind,
        state=state,
        made=utc_text(wish.made_s),
        taken=None if taken is None else utc_text(taken),
        refused=wish.refused,
        see=f"/v1/requests/{wish.id}",
    )
