"""The store's sowings as the engine needs them: batches with the limits their crop bears."""

from __future__ import annotations

import logging
from functools import cached_property
from pathlib import Path

from propstick.app.season.crop_book import crops_beside
from propstick.edges.sowings import Sowings, StoredSowing
from propstick.edges.store import Store
from propstick.errors import ConfigError
from propstick.garden import Sowing
from propstick.growing.crops import Crop, known
from propstick.limits import CropLimits

log = logging.getLogger(__name__)


class Sown:
    """Called, gives every batch of a site; `revision` changes whenever they do.

    Args:
        garden_file: Beside it may lie the person's own crop file, read once.
    """

    def __init__(self, store: Store, site: str, *, garden_file: Path | None = None) -> None:
        self._sowings = Sowings(store, site)
        self._garden_file = garden_file

    def revision(self) -> int:
        """Cheap: one number from the store."""
        return self._sowings.revision()

    def __call__(self) -> tuple[Sowing, ...]:
        """Every batch that was not taken back, in the order of writing down."""
        return tuple(self._as_engine_sees_it(s) for s in self._sowings.all())

    @cached_property
    def _crops(self) -> dict[str, Crop]:
        try:
            return crops_beside(self._garden_file)
        except ConfigError as error:  # the watch goes on with what ships
            log.error("crop-file-refused reason=%r", error.message)
            return crops_beside(None)

    def _as_engine_sees_it(self, stored: StoredSowing) -> Sowing:
        crop = known(self._crops, stored.crop)
        limits = CropLimits(crop=stored.crop) if crop is None else crop.limits
        return Sowing(
            id=str(stored.id),
            box=stored.box,
            limits=limits,
            sown=stored.sown,
            up=stored.first_up,
            cleared=stored.cleared,
        )
