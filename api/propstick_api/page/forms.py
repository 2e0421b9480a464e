"""Two small forms that need no script: signing in, and the answer to a notice.

Looking at a notice's link answers nothing, so that a preview cannot; the button of an alarm does, once.
"""

from __future__ import annotations

from typing import Annotated

from anyio import to_thread
from fastapi import APIRouter, Path, Query, Request, Response
from starlette.exceptions import HTTPException

from propstick.edges.answers import Answer
from propstick_api.deps import Service, ServiceDep, Site, SiteDep
from propstick_api.page import words
from propstick_api.page.form_fields import fields_of
from propstick_api.page.layout import small_page
from propstick_api.page.markup import Safe, join, tag
from propstick_api.sessions import set_cookie, signed_in

router = APIRouter()

Token = Annotated[str, Path(max_length=100)]
Target = Annotated[str, Query(alias="next", max_length=500)]


@router.get("/sign-in")
async def sign_in_form(target: Target = "/") -> Response:
    """Asks for the pass phrase."""
    return _sign_in(target)


@router.post("/sign-in")
async def sign_in(request: Request, service: ServiceDep) -> Response:
    """Takes it, and goes on to where the person wanted to."""
    fields = await fields_of(request)
    target = _within(fields.get("next", "/"))
    try:
        token = await to_thread.run_sync(
            lambda: signed_in(service, fields.get("passphrase", ""), label="browser")
        )
    except HTTPException as refused:
        if refused.status_code == 403:
            return _sign_in(target, words.WRONG_PHRASE, status=403)
        seconds = (refused.headers or {}).get("Retry-After", "60")
        return _sign_in(target, words.TOO_MANY.format(seconds=seconds), status=429)
    response = Response(status_code=303, headers={"Location": target})
    set_cookie(response, token, request)
    return response


@router.get("/answer/{token}")
def answer_form(token: Token, service: ServiceDep, site: SiteDep) -> Response:
    """Shows what the notice was about, and one button for each of its alarms."""
    answer = site.answers.look(token)
    if answer is None or not answer.is_good(service.now_s):
        return _spent(answer)
    return small_page(words.SEEN_TITLE, join(_buttons(site, answer), tag("p", words.SEEN_MEANS)))


@router.post("/answer/{token}")
async def answer(token: Token, request: Request, service: ServiceDep, site: SiteDep) -> Response:
    """Acknowledges the one alarm whose button it was; that button is spent then."""
    fields = await fields_of(request)
    return await to_thread.run_sync(_answered, token, fields.get("alarm"), service, site)


def _answered(token: str, alarm_id: str | None, service: Service, site: Site) -> Response:
    found = site.answers.use(token, now_s=service.now_s, alarm_id=alarm_id)
    left = site.answers.look(token)
    if found is None:
        is_gone = left is None or not left.is_good(service.now_s)
        if is_gone:
            return _spent(left)
        return small_page(words.ANSWERED_TITLE, _buttons(site, left), status=410)
    (seen,) = found.alarm_ids
    alarm = site.journal.alarm(seen)
    if alarm is not None and alarm["state"] != "normal":
        body = {"id": seen, "by": "notice"}
        site.requests.add("acknowledge", body, by="notice", made_s=service.now_s)
    others = None
    if left is not None and left.is_good(service.now_s):
        others = join(tag("p", words.ALSO_TOLD), _buttons(site, left))
    home = tag("p", tag("a", words.TO_BOXES, href="/"))
    return small_page(words.THANKS_TITLE, join(tag("p", words.THANKS), others, home))


def _within(target: str) -> str:
    """A path of ours; anything that could lead elsewhere becomes the page."""
    is_ours = target.startswith("/") and not target.startswith(("//", "/\\")) and target.isprintable()
    return target if is_ours and target.isascii() and "\\" not in target else "/"


def _buttons(site: Site, answer: Answer) -> Safe:
    """One alarm, one button: seeing to north is not seeing to lane."""
    return join(
        *(
            tag(
                "form",
                tag("p", _message(site, one)),
                tag("input", type="hidden", name="alarm", value=one),
                tag("button", words.HAVE_SEEN.format(box=one.partition(".")[0])),
                method="post",
            )
            for one in answer.alarm_ids
        )
    )


def _message(site: Site, alarm_id: str) -> str:
    alarm = site.journal.alarm(alarm_id)
    return words.ALARM_GONE if alarm is None else alarm["message"] or alarm["id"]


def _spent(answer: Answer | None) -> Response:
    if answer is None:
        return small_page(words.NO_LINK_TITLE, tag("p", words.NO_LINK), status=404)
    if answer.used_s is not None:
        return small_page(words.ANSWERED_TITLE, tag("p", words.LINK_USED), status=410)
    return small_page(words.LATE_TITLE, tag("p", words.LINK_LATE), status=410)


def _sign_in(target: str, said: str = "", *, status: int = 200) -> Response:
    phrase = tag(
        "input", type="password", name="passphrase", maxlength="200", autocomplete="current-password",
        required=True, autofocus=True,
    )  # fmt: skip
    form = tag(
        "form",
        tag("input", type="hidden", name="next", value=_within(target)),
        tag("label", words.PASS_PHRASE, " ", phrase),
        " ",
        tag("button", words.SIGN_IN),
        method="post",
        action="/sign-in",
    )
    alert = tag("p", said, role="alert") if said else None
    return small_page(words.SIGN_IN, join(alert, form), status=status)
