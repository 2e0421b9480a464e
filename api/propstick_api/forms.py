"""Two small forms that need no script: signing in, and the answer to a notice.

Looking at a notice's link answers nothing, so that a preview cannot; its button does, once.
"""

from __future__ import annotations

from html import escape
from typing import Annotated
from urllib.parse import parse_qs

from anyio import to_thread
from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import HTMLResponse
from starlette.exceptions import HTTPException

from propstick.edges.answers import Answer
from propstick_api.deps import ServiceDep, Site, SiteDep
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
            return _sign_in(target, "That was not the pass phrase.", status=403)
        seconds = (refused.headers or {}).get("Retry-After", "60")
        return _sign_in(target, f"Too many wrong ones. Try again in {seconds} seconds.", status=429)
    response = Response(status_code=303, headers={"Location": target})
    set_cookie(response, token, request)
    return response


@router.get("/answer/{token}")
def answer_form(token: Token, service: ServiceDep, site: SiteDep) -> Response:
    """Shows what the notice was about, and one button."""
    answer = site.answers.look(token)
    if answer is None or not answer.is_good(service.now_s):
        return _spent(answer)
    said = "".join(f"<p>{escape(text)}</p>" for text in _messages(site, answer))
    button = "<form method='post'><button>I have seen it</button></form>"
    return _html("Seen?", f"{said}{button}<p>This tells the watch, and whoever else is told, that a hand is "
                 "on its way. Nothing is opened or closed by it.</p>")  # fmt: skip


@router.post("/answer/{token}")
def answer(token: Token, service: ServiceDep, site: SiteDep) -> Response:
    """Acknowledges what the notice was about; the link is spent then."""
    found = site.answers.use(token, now_s=service.now_s)
    if found is None:
        return _spent(site.answers.look(token))
    for alarm_id in found.alarm_ids:
        alarm = site.journal.alarm(alarm_id)
        if alarm is not None and alarm["state"] != "normal":
            body = {"id": alarm_id, "by": "notice"}
            site.requests.add("acknowledge", body, by="notice", made_s=service.now_s)
    return _html(
        "Thank you", "<p>The watch takes it up with its next row.</p><p><a href='/'>The boxes</a></p>"
    )


async def fields_of(request: Request) -> dict[str, str]:
    """What a form of ours was sent with; a name given twice counts once."""
    body = (await request.body()).decode("utf-8", "replace")
    try:
        return {name: values[0] for name, values in parse_qs(body, max_num_fields=10).items()}
    except ValueError:
        raise HTTPException(422, "form: got more than 10 fields, expected a form of ours") from None


def _within(target: str) -> str:
    """A path of ours; anything that could lead elsewhere becomes the page."""
    is_ours = target.startswith("/") and not target.startswith(("//", "/\\")) and target.isprintable()
    return target if is_ours and target.isascii() and "\\" not in target else "/"


def _messages(site: Site, answer: Answer) -> list[str]:
    alarms = [site.journal.alarm(alarm_id) for alarm_id in answer.alarm_ids]
    return [alarm["message"] or alarm["id"] for alarm in alarms if alarm is not None] or [
        "The alarm is gone."
    ]


def _spent(answer: Answer | None) -> Response:
    if answer is None:
        return _html("No such link", "<p>It is not one of this watch, or older than a week.</p>", status=404)
    if answer.used_s is not None:
        return _html("Answered already", "<p>This link was good once, and was used.</p>", status=410)
    return _html("Too late", "<p>This link was good for a day.</p>", status=410)


def _sign_in(target: str, said: str = "", *, status: int = 200) -> Response:
    alert = f"<p role='alert'>{escape(said)}</p>" if said else ""
    return _html(
        "Sign in",
        f"{alert}<form method='post' action='/sign-in'>"
        f"<input type='hidden' name='next' value='{escape(_within(target))}'>"
        "<label>Pass phrase <input type='password' name='passphrase' autocomplete='current-password' "
        "required autofocus maxlength='200'></label> <button>Sign in</button></form>",
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
