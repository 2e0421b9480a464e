"""What wires and broker say of themselves: kept beside the live view, logged as it begins and as it ends.

It raises no alarm. What comes of it for a box, a probe that is silent, is an alarm already; this says why.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from propstick.ports import Clock
from propstick.times import utc_text

log = logging.getLogger(__name__)

STANDING_S = 30.0
"""Told only from then on: at a start no broker has answered yet, and one failed read is no trouble. Our
choice; at most rows are a minute apart, so this is the second row."""


@dataclass
class _Standing:
    """A trouble since it was first seen, on the monotonic clock."""

    detail: str
    since_s: float
    is_told: bool = False


class PartsReport:
    """Asks each part at each row.

    Args:
        parts: Name of a part → what is wrong with it, empty if nothing.
        clock: Tells how long a trouble has stood.
        now_s: UTC seconds, as the rows count them.
    """

    def __init__(
        self, parts: Mapping[str, Callable[[], str]], clock: Clock, *, now_s: Callable[[], float]
    ) -> None:
        self._parts = dict(parts)
        self._clock = clock
        self._now_s = now_s
        self._standing: dict[str, _Standing] = {}

    def look(self) -> list[dict[str, str]]:
        """What stands now: `part`, `found`, and `since` when (UTC)."""
        at_s = self._clock.monotonic_s()
        for part, trouble in self._parts.items():
            self._note(part, trouble(), at_s)
        return [
            {
                "part": part,
                "found": one.detail,
                "since": utc_text(round(self._now_s() - (at_s - one.since_s))),
            }
            for part, one in self._standing.items()
            if one.is_told
        ]

    def _note(self, part: str, detail: str, at_s: float) -> None:
        if not detail:
            ended = self._standing.pop(part, None)
            if ended is not None and ended.is_told:
                log.info("part-well part=%s after_s=%.0f", part, at_s - ended.since_s)
            return
        one = self._standing.setdefault(part, _Standing(detail, at_s))
        one.detail = detail
        if not one.is_told and at_s - one.since_s >= STANDING_S:
            one.is_told = True
            log.warning("part-trouble part=%s reason=%r", part, detail)
