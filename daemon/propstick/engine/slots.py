"""Two days of five-minute means and extremes: the memory of the forecasts that look a night or a day ahead.

A slot is summed only once it is whole, from all of its rows together; rows of the unfinished slot
are carried. So it does not matter how a recording is chopped.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.blocks import PlaceRows
from propstick.units import FloatArray, IntArray

SLOT_S = 300
STALE_S = 900
KEPT = 576
"""Slots kept: 48 h, a long winter night and the day before it."""

_SITE_COLUMNS = 3  # outside air, outside soil, outside humidity
_BOX_PLACES = ("air_c", "soil_c", "humidity_pct", "lid", "cover")
_SUN_SHARE = "sun_share"
_PLACES = (*_BOX_PLACES, _SUN_SHARE)


_OPEN_GROUND = {"lid": 1.0, "cover": 0.0, _SUN_SHARE: np.nan}


@dataclass(frozen=True)
class Slots:
    """Means and extremes of slots `first_slot` … ; slot i holds rows in (i SLOT_S, (i + 1) SLOT_S].

    Attributes:
        boxes: Number of boxes b. Box columns of the views below are followed by one for `outside`.
        first_slot: Index of the first slot kept.
        mean: Shape (s, 3 + 6 b): outside air, soil, humidity, then the boxes' air, soil, humidity,
            lid, cover, and the share of a clear sky's sun they get.
        low, high: Least and greatest air, shape (s, b + 1), outside last.
        pending_s: Times of the rows of the unfinished slot, shape (m,).
        pending: Their values, shape (m, 3 + 6 b).
        newest_c, newest_s: The last known air and its time, boxes then outside, shape (b + 1,).
    """

    boxes: int
    first_slot: int
    mean: FloatArray
    low: FloatArray
    high: FloatArray
    pending_s: IntArray
    pending: FloatArray
    newest_c: FloatArray
    newest_s: IntArray

    @property
    def stop_s(self) -> int:
        """UTC seconds up to which slots are whole."""
        return (self.first_slot + self.mean.shape[0]) * SLOT_S

    def index_of(self, time_s: float) -> int:
        """Position of the slot that ends at or last before `time_s`; may lie outside the kept ones."""
        return int(time_s // SLOT_S) - 1 - self.first_slot

    def outside(self, column: int) -> FloatArray:
        """Outside air (0), soil (1) or humidity (2), shape (s,)."""
        return self.mean[:, column]

    def place(self, name: str) -> FloatArray:
        """Means of a place in the boxes, with the same of the open ground as last column, shape (s, b + 1).

        The open ground has neither lid nor cover: it reads as a lid fully open and no cover.
        """
        return self.part(name, 0, self.mean.shape[0])

    def part(self, name: str, first: int, last: int) -> FloatArray:
        """The same of slots `first` to `last` - 1 only."""
        k = _PLACES.index(name)
        mean = self.mean[max(first, 0) : max(last, 0)].astype(np.float64)
        boxes = mean[:, _SITE_COLUMNS + k * self.boxes : _SITE_COLUMNS + (k + 1) * self.boxes]
        measured = k < _SITE_COLUMNS
        ground = mean[:, k : k + 1] if measured else np.full((len(mean), 1), _OPEN_GROUND[name])
        return np.concatenate([boxes, ground], axis=1)

    def air_now(self) -> FloatArray:
        """The newest air of boxes and outside [°C], NaN where it is over 15 min old, shape (b + 1,)."""
        last_s = self.pending_s[-1] if len(self.pending_s) else self.stop_s
        return np.where(last_s - self.newest_s <= STALE_S, self.newest_c, np.nan)


def no_slots(boxes: int) -> Slots:
    """Memory before the first row."""
    width = _SITE_COLUMNS + len(_PLACES) * boxes
    return Slots(
        boxes=boxes,
        first_slot=0,
        mean=np.empty((0, width), dtype=np.float32),
        low=np.empty((0, boxes + 1), dtype=np.float32),
        high=np.empty((0, boxes + 1), dtype=np.float32),
        pending_s=np.empty(0, dtype=np.int64),
        pending=np.empty((0, width)),
        newest_c=np.full(boxes + 1, np.nan),
        newest_s=np.zeros(boxes + 1, dtype=np.int64),
    )


def extend(slots: Slots, rows: PlaceRows, sun_share: FloatArray | None = None) -> Slots:
    """The memory with `rows` added; they must be later than all before.

    Args:
        sun_share: Sun in each box over that of a clear sky, shape (n, b); NaN by night or unknown.
    """
    if len(rows) == 0:
        return slots
    if sun_share is None:
        sun_share = np.full(rows.air_c.shape, np.nan)
    values = np.concatenate(
        [rows.outside_air_c[:, None], rows.outside_soil_c[:, None], rows.outside_humidity_pct[:, None]]
        + [getattr(rows, name) for name in _BOX_PLACES]
        + [sun_share],
        axis=1,
    )
    slots = _with_newest(slots, rows.time_s, values[:, _air_columns(slots.boxes)])
    time_s = np.concatenate([slots.pending_s, rows.time_s])
    values = np.concatenate([slots.pending, values])
    slot = (time_s - 1) // SLOT_S
    whole_until = int(time_s[-1]) // SLOT_S
    whole = int(np.searchsorted(slot, whole_until, side="left"))
    if whole == 0:
        return replace(slots, pending_s=time_s, pending=values)
    mean, low, high, first = _sum(slot[:whole], values[:whole], whole_until, slots.boxes)
    kept = _joined(slots, first, mean, low, high)
    return replace(kept, pending_s=time_s[whole:], pending=values[whole:])


def _with_newest(slots: Slots, time_s: IntArray, air_c: FloatArray) -> Slots:
    known = ~np.isnan(air_c)
    any_known = known.any(axis=0)
    last = len(time_s) - 1 - np.argmax(known[::-1], axis=0)
    newest_c = np.where(any_known, air_c[last, np.arange(air_c.shape[1])], slots.newest_c)
    return replace(slots, newest_c=newest_c, newest_s=np.where(any_known, time_s[last], slots.newest_s))


def _air_columns(boxes: int) -> list[int]:
    return [*range(_SITE_COLUMNS, _SITE_COLUMNS + boxes), 0]


def _sum(
    slot: IntArray, values: FloatArray, whole_until: int, boxes: int
) -> tuple[FloatArray, FloatArray, FloatArray, int]:
    starts = np.flatnonzero(np.diff(slot, prepend=slot[0] - 1))
    known = ~np.isnan(values)
    total = np.add.reduceat(np.where(known, values, 0.0), starts, axis=0)
    count = np.add.reduceat(known.astype(np.int64), starts, axis=0)
    air = values[:, _air_columns(boxes)]
    first = int(slot[0])
    at = slot[starts] - first
    shape = (whole_until - first, values.shape[1])
    mean = np.full(shape, np.nan, dtype=np.float32)
    mean[at] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    low, high = (np.full((shape[0], boxes + 1), np.nan, dtype=np.float32) for _ in range(2))
    low[at] = np.fmin.reduceat(air, starts, axis=0)
    high[at] = np.fmax.reduceat(air, starts, axis=0)
    return mean, low, high, first


def _joined(slots: Slots, first: int, *new: FloatArray) -> Slots:
    """Old slots, a hole of NaN where rows were missing, new slots; the last `KEPT` of them."""
    old = (slots.mean, slots.low, slots.high)
    gap = first - (slots.first_slot + slots.mean.shape[0]) if len(slots.mean) else 0
    if gap > KEPT or not len(slots.mean):
        joined, start = list(new), first
    else:
        joined = [
            np.concatenate([a, np.full((gap, a.shape[1]), np.nan, dtype=np.float32), b])
            for a, b in zip(old, new, strict=True)
        ]
        start = slots.first_slot
    extra = max(joined[0].shape[0] - KEPT, 0)
    mean, low, high = (a[extra:] for a in joined)
    return replace(slots, first_slot=start + extra, mean=mean, low=low, high=high)
