"""One batch as the season shows it: dates with their intervals, reasons, and what a reader must know."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from propstick.app.season.hours import Box
from propstick.edges.sowings import StoredSowing
from propstick.growing.crops import Crop
from propstick.growing.flowering import Flowering
from propstick.growing.harvest import Window
from propstick.growing.next_sowing import NextSowing
from propstick.times import local_date

NEVER = Window(expected_s=None, low_s=None, high_s=None)


@dataclass(frozen=True, kw_only=True)
class BatchView:
    """One batch; days on the garden's calendar.

    Attributes:
        up: Expected emergence with its 90 % interval, from the soil the batch had; for a batch that was
            seen up, what was expected of it.
        progress: Share of the way to emergence; None once up.
        late_days, reasons: Days past the interval, and what may be behind it.
        today: The day on the garden's calendar.
        notes: What a reader must know: by kinship, no soil probe, no figure.
    """

    sowing: StoredSowing
    up: Window
    progress: float | None
    late_days: float
    reasons: tuple[str, ...]
    pick: Window
    pick_words: str
    flower: Flowering | None
    next: NextSowing | None
    next_words: str
    lasted_days: int | None
    notes: tuple[str, ...]
    today: date
    zone: str | None

    def day(self, time_s: float | None) -> date | None:
        """That moment's day on the garden's calendar."""
        return None if time_s is None else local_date(time_s, self.zone)

    def to_json(self) -> dict[str, Any]:
        """For the API."""
        return {
            **self.sowing.to_json(),
            "expected_up": self._window(self.up),
            "progress": self.progress,
            "late_days": self.late_days,
            "late_reasons": list(self.reasons),
            "expected_pick": self._window(self.pick),
            "pick_from": self.pick_words,
            "expected_flowering": None if self.flower is None else self._window(self.flower.window),
            "flowering_because": None if self.flower is None else self.flower.reason,
            "next_sowing": None if self.next is None else self._window(self.next.sow),
            "next_pick": None if self.next is None else self._text(self.next.pick_s),
            "next_words": self.next_words,
            "lasted_days": self.lasted_days,
            "notes": list(self.notes),
        }

    def _window(self, window: Window) -> dict[str, str | None]:
        names = ("expected", "low", "high")
        return {name: self._text(getattr(window, f"{name}_s")) for name in names}

    def _text(self, time_s: float | None) -> str | None:
        day = self.day(time_s)
        return None if day is None else day.isoformat()


def notes_of(sowing: StoredSowing, crop: Crop | None, box: Box | None) -> Sequence[str]:
    """Why less is foreseen of the batch than could be, or less surely."""
    if crop is None:
        return [f"no figures for {sowing.crop}: nothing can be expected of it"]
    found = []
    if crop.by_kinship:
        found.append(f"by kinship with {crop.by_kinship}, not published for {crop.name}")
    if crop.emergence is None:
        found.append(f"no emergence figure for {crop.name}")
    if sowing.sown is None:
        found.append("no day of sowing")
    if box is None:
        found.append(f"no box {sowing.box} in the garden file")
    elif not box.has_soil and sowing.cleared is None:
        found.append("no soil probe: soil from the air, wider interval")
    return found


def lasted_days(sowing: StoredSowing) -> int | None:
    """Days from first pick to the end of picking, as the person noted them."""
    ends = [day for day in (sowing.flowering, sowing.cleared) if day is not None]
    if sowing.first_pick is None or not ends:
        return None
    return max(0, (min(ends) - sowing.first_pick).days)
