"""What will send a batch to flower: days grown long, a warm spell, weeks of cold; and about when.

The triggers are published, most of their figures are not: each date says on what it rests, and its
interval is wide.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

import numpy as np

from propstick.growing.crops import Crop
from propstick.growing.emergence import degrees
from propstick.growing.harvest import Window
from propstick.growing.hours import DAY_H
from propstick.growing.path import Path
from propstick.physics.sun import sunrise_sunset
from propstick.times import DAY_S
from propstick.units import FloatArray, IntArray, Unit

SPELL_D = 7
"""A warm spell: so many days whose mean lies above the crop's figure. Ours; sources say "long"."""
RUNS_UP_D = (7.0, 14.0, 28.0)
"""From what drives it to the first flower: soonest, about, latest. Common practice, no source."""
UP_TO_FLOWER_D = 32.0
"""No plant flowers sooner after it came up, however long and warm the days. Spinach, four varieties sown
month by month at Chillán: 43 to 60 days from sowing to half in flower in the quickest months (González and
others 2004, Agricultura Técnica 64: 331-337, abstract). Mustards sown at Tokyo ran up after 38 to 71 days
(Yoshida and others 2020). About six of them go by before they are up."""


@dataclass(frozen=True, kw_only=True)
class Flowering:
    """When a batch is likely to flower, and why."""

    window: Window
    reason: str


def day_hours(time_s: IntArray, latitude: float, longitude: float) -> FloatArray:
    """Hours from sunrise to sunset of the days these moments fall into, by UTC day; shape of `time_s`."""
    found = {}
    for day in np.unique(time_s // DAY_S).tolist():
        noon = datetime.combine(datetime.fromtimestamp(day * DAY_S, UTC).date(), time(12), UTC)
        near_s = noon.timestamp() - timedelta(hours=longitude / 15.0).total_seconds()
        found[day] = sunrise_sunset(near_s, latitude, longitude).day_length_s / 3600.0
    return np.array([found[day] for day in (time_s // DAY_S).tolist()])


def flowering(
    crop: Crop,
    *,
    up_s: float,
    pick_s: float | None,
    path: Path,
    position: tuple[float, float] | None,
    unit: Unit = "C",
) -> Flowering | None:
    """The earliest of what drives the crop; None where nothing does within the path.

    Args:
        up_s: When it came up, or is expected to.
        pick_s: Expected first pick: before half of the way to it a seedling does not run up.
        path: Air of its place, measured and expected.
        position: Latitude and longitude; None: the length of days is not known.
    """
    bolting = crop.bolting
    if bolting is None:
        return None
    ripe_s = up_s + (UP_TO_FLOWER_D - RUNS_UP_D[0]) * DAY_S
    if pick_s is not None:
        ripe_s = max(ripe_s, 0.5 * (up_s + pick_s))
    triggers = []
    if bolting.day_h is not None and position is not None:
        triggers.append(_long_days(path.time_s, ripe_s, bolting.day_h, position))
    if bolting.heat_c is not None:
        triggers.append(_warm_spell(path, ripe_s, bolting.heat_c, unit))
    found = [(at_s, reason) for at_s, reason in triggers if at_s is not None]
    if not found:
        return None
    at_s, reason = min(found)
    soonest, about, latest = (at_s + days * DAY_S for days in RUNS_UP_D)
    return Flowering(window=Window(expected_s=about, low_s=soonest, high_s=latest), reason=reason)


def _long_days(
    time_s: IntArray, ripe_s: float, day_h: float, position: tuple[float, float]
) -> tuple[float | None, str]:
    reason = f"days of {day_h:g} hours and more"
    noons = time_s[(time_s >= ripe_s) & (time_s % DAY_S == 12 * 3600)]
    if not len(noons):
        return None, reason
    long = np.flatnonzero(day_hours(noons, *position) >= day_h)
    return (float(noons[long[0]]) if len(long) else None), reason


def _warm_spell(path: Path, ripe_s: float, heat_c: float, unit: Unit) -> tuple[float | None, str]:
    reason = f"a week warmer than {degrees(heat_c, unit)} in the mean"
    hours = SPELL_D * DAY_H
    if len(path.value_c) < hours:
        return None, reason
    mean = np.convolve(path.value_c, np.ones(hours) / hours, mode="valid")
    ends_s = path.time_s[hours - 1 :]
    warm = np.flatnonzero((mean >= heat_c) & (ends_s >= ripe_s))
    return (float(ends_s[warm[0]]) if len(warm) else None), reason
