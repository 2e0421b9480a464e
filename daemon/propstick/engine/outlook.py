"""What forecasts add to a stretch of rows, in the form the rest of the engine takes it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from propstick.engine.conditions import Condition
from propstick.records import BriefLine, DayForecast, HeatForecast, LidOpening, NightForecast


@dataclass(frozen=True)
class Outlook:
    """What was foreseen over a stretch of rows.

    Attributes:
        conditions: The rules `heat-ahead`, `frost-ahead`, `lid-loose`, as codes like any other rule.
        briefs: By row index, the lines of a brief that falls due there, instead of the plain ones.
        said_min_c: By row index, the night minimum a brief says of each box there.
        frost_rows: Row indices at which the night is foreseen anew for `frost-ahead`.
        lids: Estimated openings, on change.
        opening: The opening taken for likeliest at the last row, by box.
    """

    conditions: Sequence[Condition] = ()
    heat: tuple[HeatForecast, ...] = ()
    nights: tuple[NightForecast, ...] = ()
    days: tuple[DayForecast, ...] = ()
    lids: tuple[LidOpening, ...] = ()
    briefs: Mapping[int, tuple[BriefLine, ...]] = field(default_factory=dict)
    said_min_c: Mapping[int, Mapping[str, float]] = field(default_factory=dict)
    frost_rows: tuple[int, ...] = ()
    opening: Mapping[str, float] = field(default_factory=dict)
