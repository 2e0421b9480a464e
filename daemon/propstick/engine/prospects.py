"""The lines of a brief, from what is forecast for each box."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine import advice
from propstick.engine.advice import CLOSED, OPEN, PROPPED, Choice, Prospect, Range
from propstick.engine.brief_words import advice_reason
from propstick.engine.day import DayMaximum
from propstick.engine.layout import BoxLimits
from propstick.engine.night import NightMinimum
from propstick.engine.schedule import Day
from propstick.engine.shelter import left_at
from propstick.engine.wording import Speech
from propstick.garden import Garden
from propstick.records import BriefLine
from propstick.units import BoolArray

UNTRIED_C = {CLOSED: 12.0, PROPPED: 4.0, OPEN: 1.5}
"""How far the first day of a box may go beyond what is foreseen, at least: priors know no box. In eight
simulated gardens the first clear day came 5 to 11 °C above the forecast for shut lids."""
COOLING_C = 1.0
"""How much colder than now the outside may still get before the sun has it. Common practice, no source."""
SUN_HELPS_S = 1800
"""After sunrise: the coldest of the night is past. Common practice, no source."""


@dataclass(frozen=True)
class Seen:
    """One row as a brief sees it.

    Attributes:
        lid: Opening as told, shown or estimated; NaN unknown, shape (b,).
        damp: Humid for too long, shape (b,).
        fits: Whether the box behaves as learnt, shape (b,).
        untried: Boxes never watched through a day, shape (b,).
    """

    row: int
    lid: np.ndarray
    damp: BoolArray
    fits: BoolArray
    untried: BoolArray


def morning_lines(
    garden: Garden, day: Day, seen: Seen, *, rows: PlaceRows, limits: BoxLimits, forecast: DayMaximum
) -> tuple[BriefLine, ...]:
    """What to do with each lid until a hand is back."""
    speech = Speech(garden)
    by_s = day.leaves_s
    lines = []
    for b in _speaking(rows, limits, seen.row):
        prospect = _prospect(garden, day, b, seen, rows, limits, forecast=forecast, tonight=None)
        lines.append(_line(garden, b, advice.morning(prospect), by_s, speech, seen))
    return tuple(lines)


def evening_lines(
    garden: Garden, day: Day, seen: Seen, *, rows: PlaceRows, limits: BoxLimits, tonight: NightMinimum
) -> tuple[BriefLine, ...]:
    """What to do with each lid for the night; of a silent box, only to shut a lid known to be open."""
    speech = Speech(garden)
    speaking = _speaking(rows, limits, seen.row)
    lines = []
    for b in range(len(garden.boxes)):
        if b in speaking:
            prospect = _prospect(garden, day, b, seen, rows, limits, forecast=None, tonight=tonight)
            lines.append(_line(garden, b, advice.evening(prospect), None, speech, seen))
        elif not limits.known_empty[b] and rows.lid[seen.row, b] > advice.SHUT_AT_MOST:
            lines.append(_line(garden, b, Choice("close", "silent", CLOSED), None, speech, seen))
    return tuple(lines)


def _speaking(rows: PlaceRows, limits: BoxLimits, i: int) -> list[int]:
    """Boxes a brief speaks of: silent and empty ones are passed over."""
    silent = np.isnan(rows.air_c[i])
    return [b for b in range(len(silent)) if not silent[b] and not limits.known_empty[b]]


def _prospect(
    garden: Garden, day: Day, b: int, seen: Seen, rows: PlaceRows, limits: BoxLimits, *,
    forecast: DayMaximum | None, tonight: NightMinimum | None,
) -> Prospect:  # fmt: skip
    box, i = garden.boxes[b], seen.row
    outside_c, air_c = float(rows.outside_air_c[i]), float(rows.air_c[i, b])
    lid = float(seen.lid[b])
    return Prospect(
        heat_c=float(limits.heat_c[b]),
        prop_c=float(limits.of[b].prop_c or math.inf),
        frost_c=float(limits.frost_c[b]),
        day={} if forecast is None else _day_ranges(forecast, b, untried=bool(seen.untried[b])),
        chill=_chill(air_c, outside_c, lid, cooling_c=_still_cools_c(day, int(rows.time_s[i]))),
        night={} if tonight is None else _night_ranges(tonight, b),
        lid=None if math.isnan(lid) else lid,
        cover=bool(rows.cover[i, b] == 1.0),
        lid_kind=box.lid_kind,
        arm_opens_c=box.arm_opens_c,
        outside_c=None if math.isnan(outside_c) else outside_c,
        damp=bool(seen.damp[b]),
    )


def _day_ranges(forecast: DayMaximum, b: int, *, untried: bool) -> dict[float, Range]:
    found = {}
    for k, opening in enumerate((CLOSED, PROPPED, OPEN)):
        values = [float(v[k, b]) for v in (forecast.max_c, forecast.low_c, forecast.high_c)]
        if not any(math.isnan(v) for v in values):
            mean_c, low_c, high_c = values
            least_c = mean_c + UNTRIED_C[opening] if untried else high_c
            found[opening] = Range(mean_c, low_c, max(high_c, least_c))
    return found


def _night_ranges(tonight: NightMinimum, b: int) -> dict[str, Range]:
    values = [float(v[b]) for v in (tonight.min_c, tonight.low_c, tonight.high_c)]
    if any(math.isnan(v) for v in values):
        return {}
    closing, covering = float(tonight.gains.closing_c[b]), float(tonight.gains.covering_c[b])
    return {
        "as-is": Range(*values),
        "closed": Range(*(v + closing for v in values)),
        "covered": Range(*(v + covering for v in values)),
    }


def _still_cools_c(day: Day, time_s: int) -> float:
    """How much colder than now the outside may still get: no more once the sun is well up."""
    sun = day.sun
    is_up = sun.sets and sun.rise_s + SUN_HELPS_S <= time_s < sun.set_s
    return 0.0 if is_up else COOLING_C


def _chill(air_c: float, outside_c: float, lid: float, *, cooling_c: float) -> dict[float, Range]:
    """The coldest the air gets in the hours after an opening is set: between outside and now."""
    if math.isnan(outside_c) or outside_c >= air_c:
        return {}
    shelter = float(left_at(np.array(lid))) or 1.0
    lift = (air_c - outside_c) / shelter
    found = {}
    for opening in (CLOSED, PROPPED, OPEN):
        least = outside_c + lift * float(left_at(np.array(opening))) - cooling_c
        found[opening] = Range(least, least - 1.5, least + 1.5)
    return found


def _line(garden: Garden, b: int, choice: Choice, by_s: int | None, speech: Speech, seen: Seen) -> BriefLine:
    reason = advice_reason(choice, speech)
    if not seen.fits[b]:
        reason += ", though less surely than usual"
    acts = choice.advice != "leave"
    return BriefLine(
        box=garden.boxes[b].name,
        advice=choice.advice,
        reason=reason,
        by_s=by_s if acts else None,
        opening=choice.opening if acts else None,
    )
