"""What is believed of each place: the median of its good probes, and the lid and cover as told."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine.carry import median_of_good
from propstick.engine.layout import Layout
from propstick.engine.quality import Checked
from propstick.garden import OUTSIDE
from propstick.units import BoolArray, FloatArray, IntArray

PlaceValues = Callable[[str, str], FloatArray]
"""What a place of a box, or of `outside`, measured at each row, (n,); NaN unknown."""


def places_of(
    checked: Checked, *, layout: Layout, boxes: tuple[str, ...], time_s: IntArray, lid_told: FloatArray,
    cover_told: FloatArray,
) -> PlaceRows:  # fmt: skip
    """Rows of places out of rows of probes.

    Args:
        lid_told, cover_told: What a person said of each box, NaN if nothing, shape (b,). A lid contact
            is believed before the person.
    """
    n = len(time_s)

    def of(box: str, place: str) -> FloatArray:
        columns = layout.columns.get((box, place))
        return median_of_good(checked.value_c[:, columns]) if columns else np.full(n, np.nan)

    contact = over_boxes(of, "lid", boxes, n)
    return rows_of(
        of,
        time_s,
        boxes,
        lid=np.where(np.isnan(contact), lid_told, contact),
        cover=np.broadcast_to(cover_told, (n, len(boxes))),
        fresh=_fresh(checked, layout, boxes, n),
    )


def rows_of(
    of: PlaceValues, time_s: IntArray, boxes: tuple[str, ...], *, lid: FloatArray, cover: FloatArray,
    fresh: BoolArray,
) -> PlaceRows:  # fmt: skip
    """Rows of places, each asked of `of`.

    Args:
        lid, cover, fresh: As in `PlaceRows`, (n, b).
    """
    n = len(time_s)
    return PlaceRows(
        time_s=time_s,
        outside_air_c=of(OUTSIDE, "air"),
        outside_soil_c=of(OUTSIDE, "soil"),
        outside_humidity_pct=of(OUTSIDE, "humidity"),
        air_c=over_boxes(of, "air", boxes, n),
        soil_c=over_boxes(of, "soil", boxes, n),
        humidity_pct=over_boxes(of, "humidity", boxes, n),
        moisture_pct=over_boxes(of, "moisture", boxes, n),
        lid=lid,
        cover=cover,
        fresh=fresh,
    )


def over_boxes(of: PlaceValues, place: str, boxes: tuple[str, ...], n: int) -> FloatArray:
    """A place of every box side by side, (n, b)."""
    return np.stack([of(box, place) for box in boxes], axis=1) if boxes else np.empty((n, 0))


def _fresh(checked: Checked, layout: Layout, boxes: tuple[str, ...], n: int) -> BoolArray:
    fresh = np.zeros((n, len(boxes)), dtype=np.bool_)
    for b, box in enumerate(boxes):
        columns = layout.columns.get((box, "air"))
        if columns:
            fresh[:, b] = checked.fresh[:, columns].any(axis=1)
    return fresh
