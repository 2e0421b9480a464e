"""What the season is reckoned from: every place hour by hour, nights, waterings, moves of boxes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.engine.carry import median_of_good
from propstick.engine.nights import night_of
from propstick.garden import OUTSIDE, Garden, Probe
from propstick.growing.hours import HOUR_S, Filled, PlaceHours, air_of, soil_of
from propstick.growing.take_away import NightLow
from propstick.news import GardenChanged, WateredTold
from propstick.times import DAY_S, local_date
from propstick.units import FloatArray, IntArray

LONGEST_D = 800
"""Two springs back: what a garden's own dates are learnt from."""


@dataclass(frozen=True, kw_only=True)
class Box:
    """A box, or the open ground: measured, and with the gaps filled."""

    hours: PlaceHours
    low_c: FloatArray
    high_c: FloatArray
    soil: Filled
    air: Filled
    moisture_pct: FloatArray

    @property
    def has_soil(self) -> bool:
        """Whether its soil was ever measured."""
        return bool((~np.isnan(self.hours.soil_c)).any())


@dataclass(frozen=True, kw_only=True)
class Laid:
    """A loose probe on its spot, from one moment to another [UTC s]."""

    probe: Probe
    from_s: int
    until_s: int


@dataclass(frozen=True, kw_only=True)
class PlotHours:
    """The whole plot.

    Attributes:
        time_s: Hours that are over, shape (h,).
        boxes: By name, the open ground under `outside`.
        watered: The last watering told of each box.
        moves: (from when on, box → spot), oldest first.
        laid: Where loose probes lie and lay, oldest first.
    """

    garden: Garden
    now_s: int
    time_s: IntArray
    boxes: dict[str, Box]
    watered: dict[str, int]
    moves: tuple[tuple[int, dict[str, str | None]], ...]
    laid: tuple[Laid, ...] = ()

    @property
    def today(self) -> date:
        """The day on the garden's clock."""
        return local_date(self.now_s, self.garden.site.zone)

    def nights(self, box: str, *, days: int) -> list[NightLow]:
        """The lowest air of the last nights, in the box and outside; the night under way left out."""
        inside, outside = self.boxes[box], self.boxes[OUTSIDE]
        found = []
        for back in range(days, 0, -1):
            night = night_of(self.garden.site, self.today - timedelta(days=back))
            if night.end_s > self.now_s:
                continue
            first, stop = np.searchsorted(self.time_s, [night.start_s, night.end_s - HOUR_S + 1])
            lows = [_lowest(one.low_c[first:stop]) for one in (inside, outside)]
            if lows != [None, None]:
                found.append(NightLow(night=night.date, inside_c=lows[0], outside_c=lows[1]))
        return found

    def stands_since(self, box: str) -> int:
        """Since when the box has stood where it stands now; 0: as long as anybody knows."""
        spot, since = self.garden.box(box).spot, 0
        for from_s, spots in self.moves:
            if spots.get(box) != spot:
                since = self.now_s
            elif since == self.now_s:
                since = from_s
        return since

    def spot_of(self, box: str, at_s: int) -> str | None:
        """Where the box stood."""
        spot = None
        for from_s, spots in self.moves:
            if from_s <= at_s or spot is None:
                spot = spots.get(box)
        return spot


def plot_hours(log: ReadingLog, journal: Journal, garden: Garden, *, first_s: int, now_s: int) -> PlotHours:
    """Everything from `first_s` to now, as far back as readings and `LONGEST_D` go."""
    stop_s = now_s // HOUR_S * HOUR_S
    span = log.span()
    begin_s = max(first_s, stop_s - LONGEST_D * DAY_S, span[0] // 1000 if span else stop_s)
    begin_s = min(begin_s // HOUR_S * HOUR_S, stop_s)
    time_s = np.arange(begin_s, stop_s, HOUR_S, dtype=np.int64)
    raw = {name: _measured(log, garden, name, time_s) for name in (*garden.box_names, OUTSIDE)}
    outside = raw[OUTSIDE][0]
    boxes = {}
    for name, (hours, low, high) in raw.items():
        air = air_of(hours, None if name == OUTSIDE else outside)
        with_air = PlaceHours(time_s=time_s, soil_c=hours.soil_c, air_c=air.value_c)
        moisture, _, _ = measured(log, garden.probes_at(name, "moisture"), time_s)
        boxes[name] = Box(
            hours=hours, low_c=low, high_c=high, soil=soil_of(with_air), air=air, moisture_pct=moisture
        )
    watered: dict[str, int] = {}
    moves: list[tuple[int, dict[str, str | None]]] = []
    gardens: list[tuple[int, Garden]] = []
    for news in journal.news_between(0, now_s, kinds=(WateredTold, GardenChanged)):
        if isinstance(news, WateredTold):
            watered[news.box] = max(news.time_s, watered.get(news.box, 0))
        elif isinstance(news, GardenChanged):
            moves.append((news.time_s, {box.name: box.spot for box in news.garden.boxes}))
            gardens.append((news.time_s, news.garden))
    present = {box.name: box.spot for box in garden.boxes}
    if not moves or moves[-1][1] != present:
        moves.append((now_s if moves else 0, present))
    gardens.append((now_s if gardens else 0, garden))
    return PlotHours(
        garden=garden, now_s=now_s, time_s=time_s, boxes=boxes, watered=watered, moves=tuple(moves),
        laid=_laid(gardens, now_s),
    )  # fmt: skip


def _laid(gardens: Sequence[tuple[int, Garden]], now_s: int) -> tuple[Laid, ...]:
    """Where loose probes lay, as the gardens of the time said; what did not change is one stay."""
    found: list[Laid] = []
    last: dict[str, Laid] = {}
    ends = [from_s for from_s, _ in gardens[1:]] + [now_s]
    for (from_s, garden), until_s in zip(gardens, ends, strict=True):
        current = {}
        for probe in (one for one in garden.probes if one.is_loose):
            before = last.get(probe.id)
            if before is not None and before.probe.spot == probe.spot:
                found.remove(before)
                from_here = before.from_s
            else:
                from_here = from_s
            current[probe.id] = Laid(probe=probe, from_s=from_here, until_s=until_s)
            found.append(current[probe.id])
        last = current
    return tuple(one for one in found if one.until_s > one.from_s)


def _measured(
    log: ReadingLog, garden: Garden, box: str, time_s: IntArray
) -> tuple[PlaceHours, FloatArray, FloatArray]:
    soil, _, _ = measured(log, garden.probes_at(box, "soil"), time_s)
    air, low, high = measured(log, garden.probes_at(box, "air"), time_s)
    return PlaceHours(time_s=time_s, soil_c=soil, air_c=air), low, high


def measured(
    log: ReadingLog, probes: Sequence[Probe], time_s: IntArray, *, step_s: int = HOUR_S
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, lowest and highest of each hour (or step): the median of a place's probes, corrected."""
    nothing = np.full(len(time_s), np.nan)
    corrections = {probe.id: probe.correction_c for probe in probes}
    if not corrections or not len(time_s):
        return nothing, nothing, nothing
    first_ms, stop_ms = int(time_s[0]) * 1000, (int(time_s[-1]) + step_s) * 1000
    found = log.history(tuple(corrections), first_ms, stop_ms, len(time_s))
    if not found.probes:
        return nothing, nothing, nothing
    added = np.array([corrections[name] for name in found.probes])
    mean, low, high = (median_of_good(part + added) for part in (found.mean, found.low, found.high))
    return mean[: len(time_s)], low[: len(time_s)], high[: len(time_s)]


def _lowest(part: FloatArray) -> float | None:
    known = part[~np.isnan(part)]
    return round(float(known.min()), 2) if len(known) else None
