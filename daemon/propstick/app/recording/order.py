"""In which order the rows of a table were made, where the file has them otherwise.

A few rows behind their place came late, and are judged so. A file that runs backwards, that was put
together of others, or whose rows lie in no order at all says nothing of when its rows arrived.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from propstick.app.recording.problems import Problems
from propstick.units import IntArray

_BACKWARDS = 0.9
"""Share of steps back in time from which a file is taken to run backwards."""
_IN_ORDER = 0.5
"""Smallest share of the rows that must follow one another in time for the order to mean anything."""


def order_of(time_ms: IntArray, seams: Sequence[int], problems: Problems) -> IntArray | None:
    """Rows in the order in which they were made; None where the file has them so.

    Args:
        time_ms: As the rows stand in the file, shape (n,).
        seams: Rows before which another file begins.
    """
    n = time_ms.size
    back = int(np.count_nonzero(np.diff(time_ms) < 0))
    if not back:
        return None
    if back > _BACKWARDS * max(n - 1, 1):
        problems.note("rows run backwards in time; read from the last to the first")
        return np.arange(n)[::-1]
    pieces = [piece for piece in np.split(np.arange(n), list(seams)) if piece.size]
    spans = sorted((int(time_ms[p].min()), int(time_ms[p].max()), k) for k, p in enumerate(pieces))
    apart = all(before[1] < after[0] for before, after in pairwise(spans))
    if apart and [k for *_, k in spans] != list(range(len(pieces))):
        problems.note("files put together in another order than that of time; read in that of time")
        return np.concatenate([pieces[k] for *_, k in spans])
    if back > (1 - _IN_ORDER) / 2 * n and _longest_run_forward(time_ms) < _IN_ORDER * n:
        problems.note("rows in no order of time; read in that of time")
        return np.argsort(time_ms, kind="stable")
    return None


def _longest_run_forward(time_ms: IntArray) -> int:
    """How many rows are left when as few as possible are taken out so that no step goes back."""
    tails: list[int] = []
    for value in time_ms.tolist():
        place = bisect_right(tails, value)
        tails[place : place + 1] = [value]
    return len(tails)
