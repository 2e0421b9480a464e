"""What every route works with: the garden, the clock, the store of one site. Tests put theirs in."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import Annotated

from fastapi import Depends, Header, Request
from starlette.exceptions import HTTPException

from propstick.app.garden_file.settings import Settings
from propstick.app.garden_file.source import GardenSource
from propstick.app.season.sown import Sown
from propstick.edges.access import AccessBook
from propstick.edges.answers import Answers
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.edges.requests import Requests
from propstick.edges.sowings import Sowings
from propstick.edges.store import Store
from propstick.garden import OUTSIDE, Garden
from propstick.ports import Clock
from propstick_api.gate import Gate
from propstick_api.live import Live

SCOPE_KEY = "propstick.service"
"""Where the guard leaves the garden it found, in the ASGI scope."""


class Site:
    """One site's side of the store, open."""

    def __init__(self, store: Store, settings: Settings) -> None:
        name = settings.garden.site.name
        self.store = store
        self._name = name
        self.journal = Journal(store, name)
        self.readings = ReadingLog(store, name)
        self.requests = Requests(store, name)
        self.sowings = Sowings(store, name)
        self.answers = Answers(store, name)
        self.access = AccessBook(store, name)
        sown = Sown(store, name, garden_file=settings.path)
        self._source = GardenSource(
            settings.path, settings.garden, sowings=sown, sowings_revision=sown.revision
        )

    @property
    def key(self) -> int:
        """The site's key in the store's tables; another one perhaps after a restore."""
        return self.store.site(self._name)

    @property
    def garden(self) -> Garden:
        """The garden as file and store have it now."""
        return self._source()


class Stores:
    """Every store once, however many gardens are in it."""

    def __init__(self) -> None:
        self._stores: dict[str, Store] = {}
        self._lock = threading.Lock()

    def open(self, url: str) -> Store:
        """The store of that url.

        Raises:
            StoreError: not there yet, older than this release, or not readable.
        """
        with self._lock:
            if url not in self._stores:
                self._stores[url] = open_store(url, create=False)
            return self._stores[url]

    def close(self) -> None:
        """Closes what was opened."""
        with self._lock:
            for store in self._stores.values():
                store.close()
            self._stores.clear()


class Door:
    """Opens the store when it is first needed, and again after it could not be opened.

    The service may be up before the first watch has made the store, or while it brings an older one
    up to date; until then every use raises what is the matter.
    """

    def __init__(self, settings: Settings, stores: Stores) -> None:
        self._settings = settings
        self._stores = stores
        self._site: Site | None = None
        self._lock = threading.Lock()

    def __call__(self) -> Site:
        """The open store.

        Raises:
            StoreError: not there yet, older than this release, or not readable.
        """
        site = self._site
        if site is not None:
            return site
        with self._lock:
            if self._site is None:
                self._site = Site(self._stores.open(self._settings.store.url), self._settings)
            return self._site


@dataclass
class Service:
    """The parts of a running service that are one garden's."""

    settings: Settings
    clock: Clock
    door: Door
    gate: Gate
    live: Live
    replaying: threading.Lock = field(default_factory=threading.Lock)
    """Held while a recording is replayed: one at a time."""

    @property
    def now_s(self) -> int:
        """UTC seconds by the clock the watch goes by."""
        return int(self.clock.wall_s())


async def service_of(request: Request) -> Service:
    """The garden this request is for; the guard has found it by its name."""
    return request.scope[SCOPE_KEY]


def site_of(service: Annotated[Service, Depends(service_of)]) -> Site:
    """The open store; 503 while there is none."""
    return service.door()


def box_of(box: str, site: Annotated[Site, Depends(site_of)]) -> str:
    """A box of the garden; 404 for any other name."""
    return _known(box, site.garden.box_names)


def place_of(box: str, site: Annotated[Site, Depends(site_of)]) -> str:
    """A box of the garden, or the open ground; 404 for any other name."""
    return _known(box, (*site.garden.box_names, OUTSIDE))


def _known(name: str, names: tuple[str, ...]) -> str:
    if name not in names:
        raise HTTPException(404, f"box: got {name[:60]!r}, expected one of {', '.join(names) or 'none'}")
    return name


ServiceDep = Annotated[Service, Depends(service_of)]
SiteDep = Annotated[Site, Depends(site_of)]
BoxName = Annotated[str, Depends(box_of)]
PlaceName = Annotated[str, Depends(place_of)]
OnceKey = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        max_length=100,
        pattern=r"^[\x21-\x7e]+$",
        description="Any text of your own: the same key again is the same request, and is done once",
    ),
]
