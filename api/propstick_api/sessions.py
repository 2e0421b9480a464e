"""Signing in and out, for programs; the form for people is in `page/forms.py`."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Cookie, Request, Response
from pydantic import Field
from starlette.exceptions import HTTPException

from propstick_api.deps import Service, ServiceDep
from propstick_api.gate import COOKIE, SESSION_S
from propstick_api.schemas import In

router = APIRouter(prefix="/v1/session", tags=["session"])


class SignIn(In):
    """The pass phrase of `propstick passphrase`."""

    passphrase: Annotated[str, Field(min_length=1, max_length=200, examples=["three words together"])]


@router.post("", status_code=204)
def sign_in(wish: SignIn, service: ServiceDep, request: Request, response: Response) -> None:
    """A session, in a cookie. Wrong phrases are answered ever more slowly."""
    token = signed_in(service, wish.passphrase, label="program")
    set_cookie(response, token, request)


@router.delete("", status_code=204)
def sign_out(
    service: ServiceDep,
    response: Response,
    token: Annotated[str | None, Cookie(alias=COOKIE, max_length=200)] = None,
) -> None:
    """Ends the session of the cookie."""
    if token:
        service.gate.sign_out(token)
    response.delete_cookie(COOKIE, path="/", httponly=True, samesite="strict")


def signed_in(service: Service, phrase: str, *, label: str) -> str:
    """A session's token for the right phrase; 403 for a wrong one, 429 while one has to wait."""
    found = service.gate.sign_in(phrase, label=label)
    if found is None:
        raise HTTPException(403, "pass phrase: got another one, expected that of propstick passphrase")
    if isinstance(found, int):
        raise HTTPException(
            429,
            f"pass phrase: got too many wrong ones, expected none for {found} s",
            {"Retry-After": str(found)},
        )
    return found


def set_cookie(response: Response, token: str, request: Request) -> None:
    """Puts the session into a cookie that no script can read and no other site can send.

    Where the browser came through TLS (its own word for it, behind a proxy), it is sent back only so.
    """
    response.set_cookie(
        COOKIE,
        token,
        max_age=SESSION_S,
        path="/",
        httponly=True,
        samesite="strict",
        secure=request.headers.get("origin", "").startswith("https://"),
    )
