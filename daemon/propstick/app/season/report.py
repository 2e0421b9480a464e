"""The season's report: every batch, box and spot, from the store as it stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, time, timedelta
from pathlib import Path
from typing import Any

from propstick.app.replay.lived_night import alarm_of
from propstick.app.season.batch import BatchView
from propstick.app.season.batches import Batches
from propstick.app.season.boxes import BoxView, box_view, water_of
from propstick.app.season.crop_book import crops_beside
from propstick.app.season.hours import PlotHours, plot_hours
from propstick.app.season.siting import siting_of
from propstick.app.season.sown import Sown
from propstick.app.season.spots import SpotView, spot_views, spots_apart
from propstick.app.skill.tally import Tally, tally
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.edges.sowings import Sowings, StoredSowing
from propstick.edges.store import Store
from propstick.garden import Garden
from propstick.growing.learning import Factor
from propstick.growing.next_sowing import PICK_EVERY_D
from propstick.growing.siting import Siting
from propstick.growing.spots import Apart
from propstick.times import DAY_S, at_local
from propstick.units import Unit

LEFT_OPEN_D = 300
"""A batch sown so long ago and never cleared was forgotten, not grown: garlic and onions of the autumn stand
eight months."""
SETTLE_D = 14
"""Hours before the first sowing that the outlook needs."""


@dataclass(frozen=True, kw_only=True)
class SeasonReport:
    """The season as it stands.

    Attributes:
        day: Today, on the garden's calendar.
        since: The day the season is counted from.
        batches: Of this season, in the order of sowing.
        left_open: Of earlier seasons and never cleared: they are asked about, not reckoned with.
        emergence: How the garden's own dates moved the published days.
        apart: Boxes and spots told apart, or why not yet.
        siting: Where a box serves best now, and what is not known yet.
        warnings: What became of the season's forecasting alarms.
        decimal_sign, unit: As the person writes and thinks; sentences are put into it.
    """

    site: str
    day: date
    since: date
    batches: tuple[BatchView, ...]
    boxes: tuple[BoxView, ...]
    spots: tuple[SpotView, ...]
    emergence: Factor
    left_open: tuple[StoredSowing, ...]
    apart: Apart
    siting: Siting
    warnings: Tally
    decimal_sign: str = "."
    unit: Unit = "C"

    def to_json(self) -> dict[str, Any]:
        """The object of `propstick season --json`, and for the API."""
        return {
            "site": self.site,
            "day": self.day.isoformat(),
            "since": self.since.isoformat(),
            "sowings": [one.to_json() for one in self.batches],
            "left_open": [one.id for one in self.left_open],
            "boxes": [one.to_json() for one in self.boxes],
            "spots": [one.to_json() for one in self.spots],
            "spots_told_apart": {
                "spots": {name: round(value, 2) for name, value in self.apart.spot.items()},
                "boxes": {name: round(value, 2) for name, value in self.apart.box.items()},
                "words": self.apart.words,
            },
            "siting": self.siting.to_json(),
            "warnings": {
                "came": self.warnings.came,
                "withdrawn": self.warnings.withdrawn,
                "unannounced": self.warnings.unannounced,
            },
            "emergence_factor": {**self.emergence.to_json(), "words": self.emergence.words()},
        }


@dataclass(frozen=True, kw_only=True)
class Foreseen:
    """A day to come, for a calendar.

    Attributes:
        batch: The sowing it belongs to.
        kind: `next-sowing`, `expected-up` or `expected-pick`.
        low, high: The stated 90 % interval, as far as it can be foreseen.
    """

    batch: StoredSowing
    kind: str
    day: date
    low: date | None
    high: date | None


def foreseen(report: SeasonReport) -> tuple[Foreseen, ...]:
    """What is still to come of each batch, and the next sowing, today included."""
    found = []
    for view in report.batches:
        windows = {"next-sowing": view.next.sow if view.next is not None else None}
        if view.sowing.cleared is None:
            seen = view.sowing.first_up or view.sowing.half_up
            windows["expected-up"] = view.up if seen is None else None
            windows["expected-pick"] = view.pick if view.sowing.first_pick is None else None
        for kind, window in windows.items():
            day = view.day(window.expected_s) if window is not None else None
            if window is not None and day is not None and day >= report.day:
                low, high = view.day(window.low_s), view.day(window.high_s)
                found.append(Foreseen(batch=view.sowing, kind=kind, day=day, low=low, high=high))
    return tuple(found)


def season_report(
    store: Store,
    garden: Garden,
    now_s: int,
    *,
    garden_file: Path | None = None,
    every_d: float = PICK_EVERY_D,
) -> SeasonReport:
    """The season at a moment; nothing of the store after it is looked at.

    Args:
        garden_file: Beside it may lie the person's own crop file.
        every_d: Wished days from pick to pick of one crop.

    Raises:
        ConfigError: the person's crop file cannot be used.
    """
    name = garden.site.name
    sowings = [one for one in Sowings(store, name).all() if one.sown is not None]
    garden = replace(garden, sowings=Sown(store, name, garden_file=garden_file)())
    log = ReadingLog(store, name)
    plot = plot_hours(
        log, Journal(store, name), garden,
        first_s=_first_s(garden, sowings, now_s), now_s=now_s,
    )  # fmt: skip
    forgotten_before = plot.today - timedelta(days=LEFT_OPEN_D)
    left_open = [one for one in sowings if one.cleared is None and one.sown < forgotten_before]
    since = _season_start(plot, [one for one in sowings if one not in left_open])
    mine = [s for s in sowings if s not in left_open and (s.cleared is None or s.cleared >= since)]
    crops = crops_beside(garden_file)
    standing = {box: [s for s in mine if s.box == box and _stands(s, plot)] for box in garden.box_names}
    dry = {
        box: lost.is_due for box in garden.box_names
        if (lost := water_of(plot, box, standing[box], crops)) is not None and lost.was_told
    }  # fmt: skip
    batches = Batches(plot, sowings, crops, every_d=every_d, dry=dry)
    views = tuple(batches.view(one) for one in sorted(mine, key=lambda one: (one.sown, one.id)))
    since_s = at_local(since, time(0), garden.site.zone)
    spots, apart = spot_views(plot, log), spots_apart(plot)
    return SeasonReport(
        site=name,
        day=plot.today,
        since=since,
        batches=views,
        boxes=tuple(
            box_view(plot, box, standing[box], crops, first_s=since_s, pick_s=_last_pick_s(views, box))
            for box in garden.box_names
        ),
        spots=spots,
        emergence=batches.factor(),
        left_open=tuple(left_open),
        apart=apart,
        siting=siting_of(plot, spots, apart, [s for s in mine if _stands(s, plot)], crops),
        warnings=tally([alarm_of(one) for one in Journal(store, name).alarms(since_s, now_s)]),
        decimal_sign=garden.decimal_sign,
        unit=garden.site.unit,
    )


def _first_s(garden: Garden, sowings: Sequence[StoredSowing], now_s: int) -> int:
    """From when on readings are wanted: the first sowing there is, or the year's beginning."""
    begins = [at_local(one.sown, time(0), garden.site.zone) for one in sowings if one.sown is not None]
    return min([now_s - 200 * DAY_S, *begins]) - SETTLE_D * DAY_S


def _season_start(plot: PlotHours, sowings: Sequence[StoredSowing]) -> date:
    """1 January, in the south 1 July, or the sowing of what stands over winter."""
    south = (plot.garden.site.latitude or 0.0) < 0.0
    start = date(plot.today.year, 7 if south else 1, 1)
    if start > plot.today:
        start = start.replace(year=start.year - 1)
    stood = [s.sown for s in sowings if s.sown is not None and (s.cleared is None or s.cleared >= start)]
    return min([start, *stood])


def _stands(sowing: StoredSowing, plot: PlotHours) -> bool:
    return (sowing.cleared is None or sowing.cleared > plot.today) and (
        sowing.sown is not None and sowing.sown <= plot.today
    )


def _last_pick_s(views: Sequence[BatchView], box: str) -> float | None:
    found = [v.pick.expected_s for v in views if v.sowing.box == box and v.pick.expected_s is not None]
    return max(found, default=None)
