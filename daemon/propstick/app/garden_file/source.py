"""The garden as it is now: the file's facts with the store's sowings, read again only on change."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from propstick.app.garden_file import load as config
from propstick.errors import ConfigError, StoreError
from propstick.garden import Garden, Sowing

log = logging.getLogger(__name__)


class GardenSource:
    """Gives the garden at every row; cheap while neither file nor sowings change.

    A file that has become wrong is said once and left alone: the watch goes on with what it had. So it
    does while the store cannot be read.

    Args:
        path: The garden file.
        garden: As first read.
        sowings: The batches now standing or past, from the store.
        sowings_revision: Changes whenever the sowings do.
    """

    def __init__(
        self,
        path: Path | None,
        garden: Garden,
        *,
        sowings: Callable[[], Sequence[Sowing]] = tuple,
        sowings_revision: Callable[[], int] = lambda: 0,
    ) -> None:
        self._path = path
        self._sowings = sowings
        self._sowings_revision = sowings_revision
        self._mark = self._file_mark()
        self._revision = sowings_revision()
        self._garden = replace(garden, sowings=tuple(sowings()))

    def __call__(self) -> Garden:
        """The garden at this row."""
        mark = self._file_mark()
        if mark != self._mark:
            self._mark = mark
            self._garden = self._read_again()
        try:
            revision = self._sowings_revision()
            if revision != self._revision:
                self._garden = replace(self._garden, sowings=tuple(self._sowings()))
                self._revision = revision
        except StoreError as error:  # a database that is away must not end the watch; it says so itself
            log.warning("sowings-unread reason=%r", error.message)
        return self._garden

    def _read_again(self) -> Garden:
        assert self._path is not None
        try:
            found = config.load(self._path).garden
        except ConfigError as error:
            log.error("garden-file-refused file=%s reason=%r", self._path, error.message)
            return self._garden
        # The grid cannot change under a running watch, and a site's name is its key in the store.
        kept = self._garden
        return replace(
            found,
            step_s=kept.step_s,
            site=replace(found.site, name=kept.site.name),
            sowings=kept.sowings,
        )

    def _file_mark(self) -> tuple[int, int] | None:
        try:
            stat = self._path.stat() if self._path else None
        except OSError:
            return None
        return (stat.st_mtime_ns, stat.st_size) if stat else None
