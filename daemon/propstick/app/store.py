"""A garden's store, open for as long as a piece of work takes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from propstick.app.garden_file.settings import Settings

if TYPE_CHECKING:
    from propstick.edges.store import Store


@contextmanager
def store_of(settings: Settings, *, create: bool = False) -> Iterator[Store]:
    """The garden's store, closed at the end.

    Raises:
        StoreError: not there yet, older than this release, or not readable.
    """
    from propstick.edges.database import open_store

    store = open_store(settings.store.url, create=create)
    try:
        yield store
    finally:
        store.close()
