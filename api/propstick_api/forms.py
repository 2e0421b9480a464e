"""Two small forms that need no script: signing in, and the answer to a notice.

Looking at a notice's link answers nothing, so that a preview cannot; the button of an alarm does, once.
"""

from __future__ import annotations

from html import escape
from typing import Annotated

from anyio import to_thread
from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import HTMLResponse
from starlette.exceptions import HTTPException

from propstick.edges.answers import Answer
from propstick_api.deps import Service, ServiceDep, Site, SiteDep
from propstick_api.form_fields import fields_of
from propstick_api.page import words
from propstick_api.sessions import set_cookie, signed_in

router = APIRouter(include_in_schema=False)

STYLE = "/static/propstick.css"
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
    return _html(
        words.SEEN_TITLE,
        f"{_buttons(site, answer)}<p>{words.SEEN_MEANS}</p>",
    )


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
        return _spent(left) if is_gone else _html(words.ANSWERED_TITLE, _buttons(site, left), status=410)
    (seen,) = found.alarm_ids
    alarm = site.journal.alarm(seen)
    if alarm is not None and alarm["state"] != "normal":
        body = {"id": seen, "by": "notice"}
        site.requests.add("acknowledge", body, by="notice", made_s=service.now_s)
    others = ""
    if left is not None and left.is_good(service.now_s):
        others = f"<p>{words.ALSO_TOLD}</p>{_buttons(site, left)}"
    return _html(
        words.THANKS_TITLE,
        f"<p>{words.THANKS}</p>{others}<p><a href='/'>{words.TO_BOXES}</a></p>",
    )


def _within(target: str) -> str:
    """A path of ours; anything that could lead elsewhere becomes the page."""
    is_ours = target.startswith("/") and not target.startswith(("//", "/\\")) and target.isprintable()
    return target if is_ours and target.isascii() and "\\" not in target else "/"


def _buttons(site: Site, answer: Answer) -> str:
    """One alarm, one button: seeing to north is not seeing to lane."""
    return "".join(
        f"<form method='post'><p>{escape(_message(site, one))}</p>"
        f"<input type='hidden' name='alarm' value='{escape(one)}'>"
        f"<button>{words.HAVE_SEEN.format(box=escape(one.partition('.')[0]))}</button></form>"
        for one in answer.alarm_ids
    )


def _message(site: Site, alarm_id: str) -> str:
    alarm = site.journal.alarm(alarm_id)
    return words.ALARM_GONE if alarm is None else alarm["message"] or alarm["id"]


def _spent(answer: Answer | None) -> Response:
    if answer is None:
        return _html(words.NO_LINK_TITLE, f"<p>{words.NO_LINK}</p>", status=404)
    if answer.used_s is not None:
        return _html(words.ANSWERED_TITLE, f"<p>{words.LINK_USED}</p>", status=410)
    return _html(words.LATE_TITLE, f"<p>{words.LINK_LATE}</p>", status=410)


def _sign_in(target: str, said: str = "", *, status: int = 200) -> Response:
    alert = f"<p role='alert'>{escape(said)}</p>" if said else ""
    return _html(
        words.SIGN_IN,
        f"{alert}<form method='post' action='/sign-in'>"
        f"<input type='hidden' name='next' value='{escape(_within(target))}'>"
        f"<label>{words.PASS_PHRASE} <input type='password' name='passphrase' maxlength='200' "
        "autocomplete='current-password' required autofocus></label> "
        f"<button>{words.SIGN_IN}</button></form>",
        status=status,
    )


def _html(title: str, body: str, *, status: int = 200) -> Response:
    return HTMLResponse(
        "<!doctype html><html lang='en'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width,initial-scale=1'>"
        f"<title>{escape(title)} · Propstick</title><link rel='stylesheet' href='{STYLE}'></head>"
        f"<body class='form'><main><h1>{escape(title)}</h1>{body}</main></body></html>",
        status_code=status,
    )
