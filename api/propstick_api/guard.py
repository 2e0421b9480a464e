"""Stands before every route: who is asked for (Host), from where (Origin), how much, by whom.

Plain ASGI, so that event streams pass through untouched. Whatever fault a route has, the answer is
problem details, and every answer carries the headers that keep a browser from doing more than it should.
"""

from __future__ import annotations

import base64
import hashlib
import logging
from contextlib import suppress
from http.cookies import CookieError, SimpleCookie
from urllib.parse import quote, urlsplit

from anyio import to_thread
from fastapi import Response
from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from propstick.drawing import paper
from propstick.errors import StoreError
from propstick_api.deps import SCOPE_KEY
from propstick_api.gate import COOKIE, Gate
from propstick_api.hosts import Find
from propstick_api.problems import problem

log = logging.getLogger(__name__)

LARGEST_BODY = 64 * 1024
LARGEST_RECORDING = 16 * 2**20
LONGEST_ADDRESS = 8 * 1024
OPEN_TO_ALL = ("/sign-in", "/answer/", "/static/", "/favicon.ico", "/v1/session")
"""What is needed to get in, and the links in notices, which carry a token of their own."""
READING = frozenset({"GET", "HEAD", "OPTIONS"})


def _picture_style() -> str:
    """The one style sheet inside our own pictures, by its hash (CSP 3, section 2.3.1)."""
    text = paper.style().removeprefix("<style>").removesuffix("</style>")
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        f"style-src 'self' 'sha256-{_picture_style()}'",
        "img-src 'self' data:",
        "connect-src 'self'",
        "font-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
# `same-origin`, not `no-referrer`: with that a form's own Origin would be `null`.
_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}
_RAW_HEADERS = [(name.encode(), value.encode()) for name, value in _HEADERS.items()]


class Guard:
    """Wraps the application.

    Args:
        find: Which garden a name leads to; that one's gate is asked, and no route sees another.
    """

    def __init__(self, app: ASGIApp, *, find: Find) -> None:
        self._app = app
        self._find = find

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
            return
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        begun = False

        async def send_safely(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                message = {**message, "headers": _with_ours(message.get("headers", []))}
            await send(message)

        headers = Headers(scope=scope)
        try:
            refused = await self._refusal(scope, headers)
            if refused is None:
                await scope[SCOPE_KEY].live.wake()
                await self._app(scope, _bounded(receive, _largest(scope)), send_safely)
                return
        except StoreError as error:
            refused = problem(503, error.message, hint=error.hint, headers={"Retry-After": "10"})
        except HTTPException as error:
            refused = problem(error.status_code, error.detail)
        except Exception:
            log.exception("request-fault method=%s path=%r", scope["method"], scope["path"])
            said = "a fault of our own; it is in the log"
            refused = problem(500, said, hint="journalctl -u propstick-serve")
        if begun:
            raise RuntimeError("the answer was under way when a fault came up")  # the connection is cut
        await refused(scope, receive, send_safely)

    async def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        host = headers.get("host", "")
        service = self._find(host)
        if service is None:
            return problem(
                400, f"Host: got {host[:80]!r}, expected the name of a garden that is served here",
                hint="set [api] address in the garden file to the name you use",
            )  # fmt: skip
        scope[SCOPE_KEY] = service
        if len(scope.get("raw_path") or b"") + len(scope["query_string"]) > LONGEST_ADDRESS:
            return problem(414, f"address: expected at most {LONGEST_ADDRESS} bytes")
        if not _length_allows(headers, _largest(scope)):
            return problem(413, f"body: got more than {_largest(scope)} bytes, expected at most that")
        if scope["method"] not in READING and not _same_origin(headers, host):
            return problem(403, "Origin: got another site's page, expected our own")
        return await self._unless_known(service.gate, scope, headers)

    async def _unless_known(self, gate: Gate, scope: Scope, headers: Headers) -> Response | None:
        path = scope["path"]
        if path.startswith(OPEN_TO_ALL):
            return None
        asking = gate.known_to_ask()
        if asking is None:
            asking = await to_thread.run_sync(gate.is_asking)
        if not asking:
            return None
        for token in _tokens(headers, is_reading=scope["method"] in READING):
            if gate.remembers(token) or await to_thread.run_sync(gate.lets_in, token):
                return None
        if scope["method"] in READING and "text/html" in headers.get("accept", ""):
            return Response(status_code=303, headers={"Location": f"/sign-in?next={quote(path)}"})
        return problem(
            401, "credential: got none that is known, expected a session cookie or a bearer token",
            hint="sign in at /sign-in", headers={"WWW-Authenticate": 'Bearer realm="propstick"'},
        )  # fmt: skip


def _same_origin(headers: Headers, host: str) -> bool:
    origin = headers.get("origin")
    if origin is None:
        return headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")
    try:
        return urlsplit(origin).netloc.lower() == host.lower()
    except ValueError:
        return False


def _tokens(headers: Headers, *, is_reading: bool) -> list[str]:
    """Every credential that came along. Basic, with a token for a password, is what calendars can do."""
    found: list[str] = []
    kind, _, value = headers.get("authorization", "").partition(" ")
    if kind.lower() == "bearer":
        found.append(value.strip())
    elif kind.lower() == "basic" and is_reading:
        with suppress(ValueError):
            found.append(base64.b64decode(value, validate=True).decode().partition(":")[2])
    try:
        morsel = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        morsel = None
    if morsel is not None:
        found.append(morsel.value)
    return [token for token in found if 0 < len(token) <= 200]


def _largest(scope: Scope) -> int:
    return LARGEST_RECORDING if scope["path"] == "/v1/replay" else LARGEST_BODY


def _length_allows(headers: Headers, largest: int) -> bool:
    told = headers.get("content-length")
    return told is None or (told.isdigit() and int(told[:20]) <= largest)


def _bounded(receive: Receive, largest: int) -> Receive:
    """Counts what comes in: a length may be missing, or a lie."""
    got = 0

    async def bounded() -> Message:
        nonlocal got
        message = await receive()
        got += len(message.get("body", b""))
        if got > largest:
            raise HTTPException(413, f"body: got more than {largest} bytes, expected at most that")
        return message

    return bounded


def _with_ours(headers: list[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    names = {name.lower() for name, _ in headers}
    ours = [pair for pair in _RAW_HEADERS if pair[0] not in names]
    kept = [] if b"cache-control" in names else [(b"cache-control", b"no-store")]
    return [*headers, *ours, *kept]
