"""The store's sowings as the engine needs them: batches with the limits their crop bears."""

from __future__ import annotations

from functools import cached_property
from importlib import resources

from propstick.edges.database import Store
from propstick.edges.sowings import Sowings, StoredSowing
from propstick.errors import InputError
from propstick.garden import CropLimits, Sowing
from propstick.growing.crops import Crop, crop_table, find


class Sown:
    """Called, gives every batch of a site; `revision` changes whenever they do."""

    def __init__(self, store: Store, site: str) -> None:
        self._sowings = Sowings(store, site)

    def revision(self) -> int:
        """Cheap: one number from the store."""
        return self._sowings.revision()

    def __call__(self) -> tuple[Sowing, ...]:
        return tuple(self._as_engine_sees_it(s) for s in self._sowings.all())

    @cached_property
    def _crops(self) -> dict[str, Crop]:
        return crop_table(resources.files("propstick.growing").joinpath("crops.toml").read_text("utf-8"))

    def _as_engine_sees_it(self, stored: StoredSowing) -> Sowing:
        try:
            limits = find(self._crops, stored.crop).limits
        except InputError:  # a crop of the person's own, without figures
            limits = CropLimits(crop=stored.crop)
        return Sowing(
            id=str(stored.id),
            box=stored.box,
            limits=limits,
            sown=stored.sown,
            up=stored.first_up,
            cleared=stored.cleared,
        )

