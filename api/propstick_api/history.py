"""Past readings of a place in buckets, corrected as the watch has them."""

from __future__ import annotations

from math import isnan

import numpy as np

from propstick.edges.history import History
from propstick.edges.readings import ReadingLog
from propstick.engine.carry import median_of_good
from propstick.garden import PLACES, Garden, Probe
from propstick.times import utc_text
from propstick.units import FloatArray, IntArray
from propstick_api.schemas import HistoryOut, SeriesOut

HOUR_S = 3600


def history(log: ReadingLog, garden: Garden, box: str, *, from_s: int, to_s: int, points: int) -> HistoryOut:
    """At most `points` buckets of every place of a box that ever gave a reading.

    Args:
        box: A box's name, or `outside`.
        points: Never more than one a second are made.
    """
    probes = [p for p in garden.probes if p.box == box]
    points = max(1, min(points, to_s - from_s))
    found = log.history([p.id for p in probes], from_s * 1000, to_s * 1000, points)
    column = {name: k for k, name in enumerate(found.probes)}
    series = []
    for place in PLACES:
        mine = [p for p in probes if p.place == place and p.id in column]
        if mine:
            series.append(_series(place, mine, [column[p.id] for p in mine], found))
    return HistoryOut(
        box=box,
        bucket_s=found.bucket_ms / 1000,
        time=[utc_text(ms // 1000) for ms in found.time_ms.tolist()],
        series=series,
    )


def _series(place: str, probes: list[Probe], columns: list[int], found: History) -> SeriesOut:
    corrections = np.array([p.correction_c for p in probes])
    low, mean, high = (
        _median(part[:, columns] + corrections) for part in (found.low, found.mean, found.high)
    )
    return SeriesOut(place=place, probes=[p.id for p in probes], min=low, mean=mean, max=high)


def _median(values: FloatArray) -> list[float | None]:
    """The place's value, bucket by bucket; None where none of its probes measured."""
    return [None if isnan(v) else v for v in np.round(median_of_good(values), 2).tolist()]


def hourly(
    log: ReadingLog, garden: Garden, box: str, place: str, *, which: str, from_s: int, to_s: int
) -> tuple[IntArray, FloatArray] | None:
    """A place hour by hour, corrected: UTC seconds at which each hour begins, and value, shape (h,) both.

    Args:
        which: `low`, `mean` or `high` of the hour.

    Returns:
        None if no probe of the place ever gave a reading. NaN where nothing was measured.
    """
    first_s, stop_s = from_s // HOUR_S * HOUR_S, -(-to_s // HOUR_S) * HOUR_S
    probes = garden.probes_at(box, place)
    found = log.history([p.id for p in probes], first_s * 1000, stop_s * 1000, (stop_s - first_s) // HOUR_S)
    if not found.probes:
        return None
    corrections = {p.id: p.correction_c for p in probes}
    values = getattr(found, which) + np.array([corrections[name] for name in found.probes])
    return found.time_ms // 1000, median_of_good(values)
