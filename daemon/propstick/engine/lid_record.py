"""What is known of lids over a stretch: how long a word holds, and which estimates go on record."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine.minute import Minutes
from propstick.engine.nights import night_ending_after
from propstick.engine.opening import OPENINGS
from propstick.garden import Garden, Site
from propstick.records import LidOpening
from propstick.units import BoolArray, FloatArray, IntArray

SURE_OF_LID = 0.9
"""Probability from which an estimated opening is put on record."""
TOLD_HOLDS_S = 3600
"""A lid told shut is taken at its word so long after dark; then wind may have had it, and it is judged."""


@dataclass(frozen=True)
class ToldLids:
    """Each lid as told last, NaN unknown, and the row of its last change; shape (b,) both."""

    since_s: IntArray
    opening: FloatArray

    @staticmethod
    def of(b: int, before_s: int) -> ToldLids:
        """Nothing told before that row."""
        return ToldLids(np.full(b, before_s, dtype=np.int64), np.full(b, np.nan))


def left_to_judge(
    told: ToldLids, rows: PlaceRows, *, garden: Garden, contacts: frozenset[str]
) -> tuple[ToldLids, PlaceRows]:
    """The rows with lids that were told shut long before unknown by night, so that they are judged.

    Nobody tells the watch that the wind took a lid.

    Args:
        contacts: Boxes whose lid a contact shows: always believed.
    """
    lid = rows.lid.copy()
    lid_s, was = told.since_s.copy(), told.opening.copy()
    since = np.empty(lid.shape, dtype=np.int64)
    for k in range(lid.shape[1]):
        before = np.concatenate([was[k : k + 1], lid[:-1, k]])
        changed = (before != lid[:, k]) & ~(np.isnan(before) & np.isnan(lid[:, k]))
        at = np.where(changed, rows.time_s, np.int64(-1))
        since[:, k] = np.maximum(np.maximum.accumulate(at), lid_s[k])
        lid_s[k], was[k] = since[-1, k], lid[-1, k]
    by_contact = np.array([box.name in contacts for box in garden.boxes])
    old = rows.time_s[:, None] - since >= TOLD_HOLDS_S
    lid[old & (lid <= 0.0) & ~by_contact & _is_dark(rows.time_s, garden.site)[:, None]] = np.nan
    return ToldLids(lid_s, was), replace(rows, lid=lid)


def _is_dark(time_s: IntArray, site: Site) -> BoolArray:
    night = night_ending_after(site, int(time_s[0]))
    following = night_ending_after(site, night.end_s)
    return ((time_s >= night.sunset_s) & (time_s < night.sunrise_s)) | (
        (time_s >= following.sunset_s) & (time_s < following.sunrise_s)
    )


def openings_judged(
    judged: FloatArray, minutes: Minutes, garden: Garden, *, on_word: BoolArray, is_known: bool
) -> tuple[FloatArray, list[LidOpening]]:
    """Estimated openings that are sure enough and not what was last on record.

    Args:
        on_word: Where a lid is judged against the word of a person who shut it, (n, b): their word stands
            until the box has stopped holding heat.
        is_known: Whether these boxes have been watched long enough to say that.
    """
    trace, weight = minutes.trace, minutes.openings.weight
    if not len(trace):
        return judged, []
    judged = judged.copy()
    best = OPENINGS[weight.argmax(axis=1)]
    sure = (weight.max(axis=1) >= SURE_OF_LID) & ~trace.lid_told & trace.known & trace.outside_known[:, None]
    sure &= ~on_word[trace.index] | (minutes.openings.loose & is_known)
    found = []
    for b, name in enumerate(garden.box_names):
        rows = np.flatnonzero(sure[:, b])
        if len(rows):
            values = best[rows, b]
            change = values != np.concatenate([judged[b : b + 1], values[:-1]])
            for row in rows[change]:
                found.append(
                    LidOpening(
                        box=name,
                        time_s=int(trace.time_s[row]),
                        opening=float(best[row, b]),
                        known_from="estimate",
                    )
                )
            judged[b] = values[-1]
        if trace.lid_told[-1, b]:
            judged[b] = np.nan
    return judged, sorted(found, key=lambda lid: (lid.time_s, lid.box))
