"""Means and slopes over the last minutes, the same to the last bit however the rows are chopped.

A carried window of rows is put before the new ones and every sum is spelt out lag by lag: a running
total would round differently at every cut.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.units import FloatArray


@dataclass(frozen=True)
class Window:
    """The last rows of what was measured, newest last; NaN where there was nothing.

    Attributes:
        outside_c: (h,).
        air_c, soil_c: (h, b).
    """

    outside_c: FloatArray
    air_c: FloatArray
    soil_c: FloatArray

    def __len__(self) -> int:
        return int(self.outside_c.shape[0])


def start_window(rows: int, boxes: int) -> Window:
    """An empty past of that many rows."""
    return Window(np.full(rows, np.nan), np.full((rows, boxes), np.nan), np.full((rows, boxes), np.nan))


def extend(window: Window, *, outside_c: FloatArray, air_c: FloatArray, soil_c: FloatArray) -> Window:
    """The window with new rows behind it: h + n rows. Cut it back with `last`."""
    return Window(
        np.concatenate([window.outside_c, outside_c]),
        np.concatenate([window.air_c, air_c]),
        np.concatenate([window.soil_c, soil_c]),
    )


def last(window: Window, rows: int) -> Window:
    """The newest `rows` rows as copies, so that no day-long array is kept alive by them."""
    cut = len(window) - rows
    return Window(*(getattr(window, name)[cut:].copy() for name in ("outside_c", "air_c", "soil_c")))


def lagged(values: FloatArray, rows: int) -> FloatArray:
    """Each row's value `rows` rows earlier; NaN before the first."""
    if rows == 0:
        return values
    past = np.full_like(values, np.nan)
    past[rows:] = values[:-rows]
    return past


def trailing_mean(values: FloatArray, rows: int, *, newest: int | None = None, every: int = 1) -> FloatArray:
    """Mean of what is known in the last `rows` rows, oldest first; NaN where nothing is.

    Args:
        newest: Only for that many rows at the end; by default for all.
        every: Take only each so manieth row of the window, counted back from its end.
    """
    size = len(values)
    first = 0 if newest is None else size - newest
    known = ~np.isnan(values)
    filled = np.where(known, values, 0.0)
    total, count = np.zeros_like(values[first:]), np.zeros_like(values[first:])
    for lag in range(0, min(rows, size), every)[::-1]:
        start = max(first, lag)
        total[start - first :] += filled[start - lag : size - lag]
        count[start - first :] += known[start - lag : size - lag]
    return np.where(count > 0.0, total, np.nan) / np.maximum(count, 1.0)


def trailing_least(values: FloatArray, rows: int) -> FloatArray:
    """Least of what is known in the last `rows` rows; NaN where nothing is, or the past is too short."""
    least = lagged(values, rows - 1)
    for lag in range(rows - 1):
        least = np.fmin(least, lagged(values, lag))
    return least


def trailing_slope(values: FloatArray, rows: int, *, minutes: float, newest: int | None = None) -> FloatArray:
    """Least-squares slope per minute through the last `rows` + 1 rows; NaN with fewer than half known.

    Args:
        minutes: Minutes from row to row.
        newest: Only for that many rows at the end; by default for all.
    """
    size = len(values)
    first = 0 if newest is None else size - newest
    known = ~np.isnan(values)
    filled = np.where(known, values, 0.0)
    n, sx, sxx, sy, sxy = (np.zeros_like(values[first:]) for _ in range(5))
    # Measured from the newest value the sums stay small and keep their digits.
    for lag in range(min(rows, size - 1), -1, -1):
        start = max(first, lag)
        into = slice(start - first, None)
        x = -lag * minutes
        seen = known[start - lag : size - lag]
        y = np.where(seen & known[start:], filled[start - lag : size - lag] - filled[start:], 0.0)
        n[into] += seen
        sx[into] += x * seen
        sxx[into] += x * x * seen
        sy[into] += y
        sxy[into] += x * y
    spread = n * sxx - sx * sx
    usable = known[first:] & (n >= 0.5 * (rows + 1)) & (spread > 0.0)
    return np.where(usable, (n * sxy - sx * sy) / np.where(usable, spread, 1.0), np.nan)


def rows_since(event: FloatArray, before: FloatArray, *, minutes: float) -> FloatArray:
    """Minutes since an event last held, row by row.

    Args:
        event: Booleans, (n, b).
        before: Minutes since the event at the row before the first, (b,).
        minutes: Minutes from row to row.
    """
    n = len(event)
    place = np.arange(1, n + 1, dtype=float)[:, None]
    latest = np.maximum.accumulate(np.where(event, place, 0.0), axis=0)
    return np.where(latest > 0.0, (place - latest) * minutes, np.minimum(before + place * minutes, 1e6))
