"""Every error as RFC 9457 problem details: one shape, whatever went wrong."""

from __future__ import annotations

import json
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException

from propstick.errors import InputError, StoreError

MEDIA_TYPE = "application/problem+json"


class FieldProblem(BaseModel):
    """One value that could not be taken."""

    where: str = Field(description="The parameter or field", examples=["query.points"])
    detail: str = Field(examples=["Input should be less than or equal to 2000"])


class Problem(BaseModel):
    """Problem details (RFC 9457). `type` is always `about:blank`: status and words say it all."""

    type: str = Field("about:blank", examples=["about:blank"])
    title: str = Field(description="The status in words", examples=["Not Found"])
    status: int = Field(examples=[404])
    detail: str = Field(description="What was wrong, and what was expected", examples=["box: no box 'est'"])
    hint: str | None = Field(None, description="One next step", examples=["expected one of north, lane"])
    errors: list[FieldProblem] | None = Field(None, description="Which values, where several were wrong")


def problem(
    status: int,
    detail: str,
    *,
    hint: str = "",
    errors: list[dict[str, str]] | None = None,
    headers: Mapping[str, str] | None = None,
    **more: Any,
) -> Response:
    """A response with problem details; `more` are extension members."""
    body: dict[str, Any] = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
    }
    body |= {name: value for name, value in (("hint", hint), ("errors", errors)) if value}
    text = json.dumps({**body, **more}, ensure_ascii=False)
    # A lone surrogate that came in with a request must not break the answer about it.
    content = text.encode("utf-8", "replace")
    return Response(content, status_code=status, media_type=MEDIA_TYPE, headers=dict(headers or {}))


def add_handlers(app: FastAPI) -> None:
    """Answers every error the routes raise; what nobody expected is answered by `guard`."""
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(InputError, _input)
    app.add_exception_handler(StoreError, _store)


async def _http(_request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return problem(error.status_code, error.detail, headers=error.headers)


async def _invalid(_request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    found = [
        {"where": ".".join(str(part) for part in one["loc"]), "detail": one["msg"]} for one in error.errors()
    ]
    first = found[0] if found else {"where": "request", "detail": "could not be read"}
    return problem(422, f"{first['where']}: {first['detail']}", errors=found)


async def _input(_request: Request, error: Exception) -> Response:
    assert isinstance(error, InputError)
    return problem(422, error.message, hint=error.hint)


async def _store(_request: Request, error: Exception) -> Response:
    assert isinstance(error, StoreError)
    return problem(503, error.message, hint=error.hint, headers={"Retry-After": "10"})


DOCUMENTED: dict[int | str, dict[str, Any]] = {
    "default": {
        "description": "Any error, as problem details (RFC 9457)",
        "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
}
