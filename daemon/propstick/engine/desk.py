"""What the desk that writes notices remembers, and what it sees of a row."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from propstick.engine.schedule import Day
from propstick.garden import Garden


@dataclass(frozen=True)
class HandMemory:
    """The last notice that asked for a hand."""

    issued_s: int
    rank: int
    kind: str


@dataclass(frozen=True)
class SaidMinimum:
    """The night minimum last said of a box [°C], and when."""

    min_c: float
    said_s: int


@dataclass(frozen=True)
class Desk:
    """What was told to whom, as far as it still matters.

    Attributes:
        hands: The last notice by hand.
        told_s: When each kind in each box (`kind|box`) was last told of.
        named_s: When each box was named as on its way, by `hand|box`.
        away_day: The date on which a person away was told of heat.
        said: The night minimum last said of each box.
        asked: The same of boxes that the evening brief asked to be closed or covered.
    """

    hands: dict[str, HandMemory] = field(default_factory=dict)
    told_s: dict[str, int] = field(default_factory=dict)
    named_s: dict[str, int] = field(default_factory=dict)
    away_day: date | None = None
    said: dict[str, SaidMinimum] = field(default_factory=dict)
    asked: dict[str, SaidMinimum] = field(default_factory=dict)

    def with_asked(self, minima: Mapping[str, float], at_s: int) -> Desk:
        """The desk once an evening brief asked for these boxes to be closed or covered."""
        return replace(self, asked={box: SaidMinimum(low, at_s) for box, low in minima.items()})

    def with_said(self, minima: Mapping[str, float], at_s: int) -> Desk:
        """The desk once night minima were said, box by box."""
        return replace(self, said={**self.said, **{b: SaidMinimum(low, at_s) for b, low in minima.items()}})


@dataclass(frozen=True)
class Moment:
    """A row as the desk sees it.

    Attributes:
        soon: Boxes on their way to their heat limit: name, air [°C], time they would pass [UTC s].
        lid: Opening known of each box.
        air_c: Air of each box, NaN if unknown.
        covered: Boxes shut and under a blanket: nothing more can be done for them.
        foreseen_c: Tonight's minimum of boxes with a frost foreseen, where the row has a new forecast.
    """

    time_s: int
    day: Day
    garden: Garden
    soon: Callable[[], Sequence[tuple[str, float, float]]]
    lid: Mapping[str, float]
    air_c: Mapping[str, float]
    covered: frozenset[str] = frozenset()
    foreseen_c: Mapping[str, float] = field(default_factory=dict)
