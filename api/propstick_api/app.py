"""Builds the application: routes, errors, the guard before them, and their description."""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from typing import Any

from anyio import to_thread
from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from propstick.app.garden_file.settings import Settings
from propstick.ports import Clock
from propstick_api import (
    alarms,
    asked,
    boxes,
    briefs,
    calendar_feed,
    hosts,
    metrics,
    nights,
    now,
    page,
    replays,
    season,
    sessions,
    skill,
    sowings,
)
from propstick_api.deps import Door, Service, Stores
from propstick_api.gate import Gate
from propstick_api.guard import Guard
from propstick_api.live import Live
from propstick_api.problems import DOCUMENTED, Problem, add_handlers

THREADS = 6
"""Requests that read the store at a time. Forty, the default, would each keep memory of their own."""
DESCRIPTION = """\
What the watch of a garden of cold frames sees, forecasts and advises. Temperatures are °C, times RFC 3339
in UTC. Errors are problem details (RFC 9457). What is written here are requests, which the watch takes up
at its next row, and sowings.
"""


def build(settings: Settings, *, clock: Clock) -> FastAPI:
    """The application of one garden.

    Args:
        clock: What is now: the machine's clock, or a demonstration's.
    """
    stores = Stores()
    service = _service(settings, clock, stores)
    app = _application([service], stores, find=hosts.of_one(service))
    app.state.service = service
    return app


def build_many(all_settings: Sequence[Settings], *, clock: Clock) -> FastAPI:
    """The application of many gardens, each under a name of its own.

    Raises:
        ConfigError: one has no name, or another's.
    """
    stores, replaying = Stores(), threading.Lock()
    services = [_service(one, clock, stores, replaying=replaying) for one in all_settings]
    return _application(services, stores, find=hosts.of_many(services))


def _service(
    settings: Settings, clock: Clock, stores: Stores, *, replaying: threading.Lock | None = None
) -> Service:
    """One garden's; `replaying` is given where it is one of many."""
    is_one_of_many = replaying is not None
    door = Door(settings, stores)
    return Service(
        settings=settings,
        clock=clock,
        door=door,
        gate=Gate(lambda: door().access, listen=settings.api.listen, clock=clock, always_asks=is_one_of_many),
        live=Live(door, clock=clock, step_s=settings.garden.step_s, rests=is_one_of_many),
        replaying=replaying or threading.Lock(),
    )


def _application(services: Sequence[Service], stores: Stores, *, find: hosts.Find) -> FastAPI:
    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        to_thread.current_default_thread_limiter().total_tokens = THREADS
        for service in services:
            await service.live.start()
        try:
            yield
        finally:
            for service in services:
                await service.live.stop()
            stores.close()

    app = FastAPI(
        title="Propstick",
        version="1",
        description=DESCRIPTION,
        lifespan=lifespan,
        openapi_url="/v1/openapi.json",
        docs_url=None,  # their pages load scripts from elsewhere
        redoc_url=None,
        responses=DOCUMENTED,
    )
    app.state.lives = tuple(service.live for service in services)
    for module in (
        now, alarms, boxes, asked, briefs, nights, replays, sowings, season, skill, calendar_feed, metrics,
        sessions,
    ):  # fmt: skip
        app.include_router(module.router)
    app.include_router(page.router, include_in_schema=False)
    add_handlers(app)
    app.add_middleware(Guard, find=find)
    app.openapi = lambda: _described(app)  # type: ignore[method-assign]
    return app


def _described(app: FastAPI) -> dict[str, Any]:
    """The interface's description, with the one shape of every error in it."""
    if app.openapi_schema is None:
        schema = get_openapi(
            title=app.title, version=app.version, description=app.description, routes=app.routes
        )
        shapes = schema.setdefault("components", {}).setdefault("schemas", {})
        parts = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
        shapes |= parts.pop("$defs", {})
        shapes["Problem"] = parts
        schema["components"]["securitySchemes"] = {
            "bearer": {"type": "http", "scheme": "bearer"},
            "session": {"type": "apiKey", "in": "cookie", "name": "propstick"},
        }
        schema["security"] = [{"bearer": []}, {"session": []}, {}]
        app.openapi_schema = schema
    return app.openapi_schema
