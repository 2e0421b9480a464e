"""Which place has more sun: by hand from what stands around it, and from what the boxes there show.

A box that warms more may be the better box or stand in the better spot. The two are told apart only
when boxes have changed places; until then the answer is that it cannot be told yet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from propstick.garden import Obstacle
from propstick.growing.hours import DAY_H, HOUR_S
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.times import at_local
from propstick.units import BoolArray, FloatArray, IntArray

STEP_S = 600
MEMORY_H = 1.5
"""How long the air of a box remembers the sun: warmth stands for sun only after its lag is taken off.
Found on simulated boxes, shut and aired, with and without a house to the east."""
SUNNY_SHARE = 0.35
"""An hour is sunny if the box gains at least so much of what is usual for its sun."""
LEAST_GAIN_C_PER_H = 1.0
"""Under 500 W/m²; a place that gains less shows no sun at all (clouds, or a probe in the open)."""
QUANTILE = 0.8
"""Of an hour's days: what it gains on the better ones. Clouds take sun too, and are not the spot's."""
LEAST_W_M2 = 150.0
LEAST_DAYS = 3
LEAST_DAYS_EACH = 3
"""Days a box must have stood in a spot to count in telling the two apart."""


def hidden(
    elevation_deg: FloatArray,
    azimuth_deg: FloatArray,
    obstacles: Sequence[Obstacle],
    *,
    day: date,
    is_south: bool = False,
) -> BoolArray:
    """Where something stands between a spot and the sun.

    A tree counts from its leafing day to the end of the year of growth: December, in the south June.
    """
    first = 7 if is_south else 1
    behind = np.zeros(np.shape(elevation_deg), dtype=bool)
    for one in obstacles:
        if one.leafless_until is not None and _in_growth((day.month, day.day), first) < _in_growth(
            one.leafless_until, first
        ):
            continue
        width = (one.bearing_to_deg - one.bearing_from_deg) % 360.0
        within = (azimuth_deg - one.bearing_from_deg) % 360.0 <= width
        behind |= within & (elevation_deg < one.height_deg)
    return behind


def _in_growth(day: tuple[int, int], first_month: int) -> tuple[int, int]:
    """Month and day, counted from the month with which the year of growth begins."""
    return (day[0] - first_month) % 12, day[1]


@dataclass(frozen=True, kw_only=True)
class SpotDay:
    """A cloudless day on a spot.

    Attributes:
        sun_h: Hours in which the sun reaches it.
        open_sun_h: The same without any obstacle.
        share: Share of a cloudless day's energy that reaches it; hidden hours count as none.
    """

    sun_h: float
    open_sun_h: float
    share: float


def spot_day(
    obstacles: Sequence[Obstacle], day: date, *, latitude: float, longitude: float, zone: str | None = None
) -> SpotDay:
    """Sun on a spot on a cloudless day, from geometry alone."""
    start_s = at_local(day, time(0), zone)
    time_s = start_s + STEP_S * np.arange(86_400 // STEP_S) + STEP_S / 2
    elevation, azimuth = solar_position(time_s, latitude, longitude)
    up = elevation > 0.0
    reaches = up & ~hidden(elevation, azimuth, obstacles, day=day, is_south=latitude < 0.0)
    clear = clear_sky_w_m2(elevation)
    whole = float(clear.sum())
    return SpotDay(
        sun_h=float(reaches.sum()) * STEP_S / 3600.0,
        open_sun_h=float(up.sum()) * STEP_S / 3600.0,
        share=float(clear[reaches].sum()) / whole if whole > 0.0 else 0.0,
    )


def sun_by_month(
    obstacles: Sequence[Obstacle], *, year: int, latitude: float, longitude: float, zone: str | None = None
) -> dict[int, SpotDay]:
    """A cloudless day on the 15th of each month, by month 1 to 12."""
    position = {"latitude": latitude, "longitude": longitude, "zone": zone}
    return {month: spot_day(obstacles, date(year, month, 15), **position) for month in range(1, 13)}


@dataclass(frozen=True, kw_only=True)
class Shown:
    """What a box (or a loose probe) shows of its spot.

    Attributes:
        days: Measured.
        sun_h: Mean hours a day in which the sun warmed it, cloudy days included.
        excess_c: Mean warmth above the open ground while the sun is well up [°C].
        shaded: Hours of the local day, 0 to 23, that lag far behind the others even on the best days.
    """

    days: int
    sun_h: float
    excess_c: float
    shaded: tuple[int, ...]


def shown_by(
    time_s: IntArray,
    inside_c: FloatArray,
    outside_c: FloatArray,
    *,
    latitude: float,
    longitude: float,
    offset_s: int = 0,
) -> Shown | None:
    """Sun received by a place, from how it warms and stays warmer than the open ground.

    Args:
        time_s: Hours, shape (h,).
        offset_s: Of the clock there from UTC, to name hours of the day.

    Returns:
        None with fewer than three days, or where no sun shows at all.
    """
    if len(time_s) < DAY_H:
        return None
    elevation, _ = solar_position(time_s + HOUR_S / 2, latitude, longitude)
    clear = clear_sky_w_m2(elevation)
    excess = inside_c - outside_c
    warming = np.full(len(excess), np.nan)
    warming[1:-1] = 0.5 * (excess[2:] - excess[:-2])
    received = np.maximum(warming + excess / MEMORY_H, 0.0)
    usable = (clear >= LEAST_W_M2) & ~np.isnan(received)
    gain = np.where(usable, received / np.maximum(clear, LEAST_W_M2), np.nan)
    day, hour = (time_s + offset_s) // 86_400, ((time_s + offset_s) // HOUR_S) % DAY_H
    days = len(np.unique(day[usable]))
    if days < LEAST_DAYS:
        return None
    best = {}
    for one in range(DAY_H):
        mine = usable & (hour == one)
        if mine.sum() >= LEAST_DAYS:
            best[one] = float(np.quantile(gain[mine], QUANTILE))
    usual = float(np.median(list(best.values()))) if best else 0.0
    if 500.0 * usual < LEAST_GAIN_C_PER_H:
        return None
    sunny = usable & (np.nan_to_num(gain) >= SUNNY_SHARE * usual)
    return Shown(
        days=days,
        sun_h=float(sunny.sum()) / days,
        excess_c=float(excess[usable].mean()),
        shaded=tuple(one for one, share in best.items() if share < SUNNY_SHARE * usual),
    )


@dataclass(frozen=True, kw_only=True)
class Stay:
    """A box in a spot on one day, and how much warmer than the open ground it was by day [°C]."""

    box: str
    spot: str
    excess_c: float


@dataclass(frozen=True, kw_only=True)
class Apart:
    """Boxes and spots told apart, or why not yet.

    Attributes:
        spot: By how much a spot warms any box, as a factor to the mean of all spots; empty where it
            cannot be told.
        box: The same of the boxes.
        words: What can be said.
    """

    spot: Mapping[str, float]
    box: Mapping[str, float]
    words: str


def told_apart(stays: Sequence[Stay]) -> Apart:
    """Box and spot as factors of the warmth gained: log excess = box + spot, by least squares.

    They can be told apart only if boxes changed places so that every spot is linked with every other
    through boxes that stood in both.
    """
    pairs: dict[tuple[str, str], list[float]] = {}
    for stay in stays:
        if stay.excess_c > 0.0:
            pairs.setdefault((stay.box, stay.spot), []).append(float(np.log(stay.excess_c)))
    pairs = {pair: logs for pair, logs in pairs.items() if len(logs) >= LEAST_DAYS_EACH}
    spots = sorted({spot for _, spot in pairs})
    boxes = sorted({box for box, _ in pairs})
    if len(spots) < 2:
        words = "fewer than two spots have had a box for three days: nothing to compare by boxes yet"
        return Apart(spot={}, box={}, words=words)
    if not _linked(pairs, spots):
        words = "box and spot cannot be told apart yet: let two boxes change places for a week"
        return Apart(spot={}, box={}, words=words)
    rows = np.zeros((len(pairs) + 2, len(boxes) + len(spots) + 1))
    logs = np.zeros(len(rows))
    for k, ((box, spot), seen) in enumerate(pairs.items()):
        rows[k, boxes.index(box)] = rows[k, len(boxes) + spots.index(spot)] = rows[k, -1] = 1.0
        logs[k] = float(np.mean(seen))
    rows[len(pairs), : len(boxes)] = 1.0  # boxes about their mean, spots about theirs
    rows[len(pairs) + 1, len(boxes) : -1] = 1.0
    effect = np.linalg.lstsq(rows, logs, rcond=None)[0]
    by_spot = {name: float(np.exp(effect[len(boxes) + k])) for k, name in enumerate(spots)}
    by_box = {name: float(np.exp(effect[k])) for k, name in enumerate(boxes)}
    best = max(by_spot, key=by_spot.__getitem__)
    return Apart(spot=by_spot, box=by_box, words=f"{best} has the most sun, whichever box stands there")


def _linked(pairs: Mapping[tuple[str, str], list[float]], spots: Sequence[str]) -> bool:
    """Whether every spot can be reached from the first through boxes that stood in two."""
    reached = {spots[0]}
    while True:
        boxes = {box for box, spot in pairs if spot in reached}
        more = {spot for box, spot in pairs if box in boxes}
        if more <= reached:
            return reached == set(spots)
        reached |= more


def days_of_stay(
    time_s: IntArray, inside_c: FloatArray, outside_c: FloatArray, clear: FloatArray
) -> FloatArray:
    """Mean warmth above the open ground in each day's hours of sun [°C]; days with fewer than 4 left out."""
    usable = (clear >= LEAST_W_M2) & ~np.isnan(inside_c) & ~np.isnan(outside_c)
    day = time_s // 86_400
    found = []
    for one in np.unique(day[usable]).tolist():
        mine = usable & (day == one)
        if mine.sum() >= 4:
            found.append(float((inside_c - outside_c)[mine].mean()))
    return np.array(found)


def local_offset_s(time_s: int, zone: str | None) -> int:
    """How far the clock there is ahead of UTC at a moment, seconds."""
    day = datetime.fromtimestamp(time_s, UTC).date()
    midnight = int(datetime.combine(day, time(0), UTC).timestamp())
    return midnight - at_local(day, time(0), zone) if zone else int(timedelta(0).total_seconds())
