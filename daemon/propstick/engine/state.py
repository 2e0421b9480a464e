"""All that the engine remembers from one call to the next: one frozen value that can be saved."""

from __future__ import annotations

from dataclasses import dataclass, field

from propstick.engine.briefs import BriefMemory
from propstick.engine.conditions import CodeMemory
from propstick.engine.desk import Desk
from propstick.engine.foresight import ForesightState
from propstick.engine.probe_memory import ProbeMemory, new_memory
from propstick.engine.soilwatch import SoilWatch, new_watch
from propstick.engine.standing import Standing
from propstick.engine.trends import TrendMemory
from propstick.engine.upsets import UpsetWatch, new_upsets
from propstick.garden import Garden
from propstick.news import News
from propstick.records import Alarm, LidOpening


@dataclass(frozen=True)
class EngineState:
    """The engine between two calls of `advance`.

    Attributes:
        foresight: Whether forecasts are made.
        ahead: What the forecasts remember; None before the first row.
        step_s: The grid of the rows so far; None before the first.
        row_s: Last row done, UTC seconds; None before the first.
        lid_told, cover_told: What a person said of a box, by name.
        lids: The opening last recorded of each box.
        out: Boxes out of service.
        troubles: Kinds of trouble the watch reports right now.
        waiting: News of a time that no row has reached yet.
    """

    garden: Garden
    foresight: bool = True
    step_s: int | None = None
    row_s: int | None = None
    probes: ProbeMemory = field(default_factory=lambda: new_memory((), since_s=0))
    trends: TrendMemory | None = None
    soil: SoilWatch = field(default_factory=lambda: new_watch(()))
    upsets: UpsetWatch = field(default_factory=lambda: new_upsets(()))
    codes: dict[str, CodeMemory] = field(default_factory=dict)
    standings: dict[str, Standing] = field(default_factory=dict)
    desk: Desk = field(default_factory=Desk)
    briefs: BriefMemory = field(default_factory=BriefMemory)
    lid_told: dict[str, float] = field(default_factory=dict)
    cover_told: dict[str, float] = field(default_factory=dict)
    lids: dict[str, LidOpening] = field(default_factory=dict)
    out: frozenset[str] = frozenset()
    ahead: ForesightState | None = None
    troubles: frozenset[str] = frozenset()
    waiting: tuple[News, ...] = ()

    @property
    def open_alarms(self) -> tuple[Alarm, ...]:
        """Every alarm on record that is not over, oldest first."""
        found = [s.record for s in self.standings.values() if s.alarm is not None]
        return tuple(sorted((a for a in found if a is not None), key=lambda a: (a.raised_s, a.id)))
