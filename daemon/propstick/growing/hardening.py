"""A week of lid openings that readies a batch for the open, adapted each evening to the night to come."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from propstick.growing.emergence import degrees
from propstick.units import Unit

DAY_OPENINGS = (0.1, 0.3, 0.5, 1.0, 1.0, 1.0, 1.0)
NIGHT_OPENINGS = (0.0, 0.0, 0.0, 0.1, 0.1, 0.3, 1.0)
"""A week in the frame, lid open by day and shut at night, a little more each day. Common practice,
no source; other texts say seven to fourteen days."""
COLD_DAY_C = 4.4
"""Hardy crops go out from 40 °F outside; tender ones from 7 °C. Common practice."""
MARGIN_C = 1.0
"""A night is let in only if its low end stays so far above the crop's limit."""
CLOSED = 0.0
_WORDS = {0.0: "shut", 0.1: "propped", 0.3: "a third open", 0.5: "half open", 1.0: "fully open"}
NEARLY = 0.8
"""A day counts as lived through if its lid stood so much of the planned opening, as a mean. Ours."""


@dataclass(frozen=True, kw_only=True)
class HardeningDay:
    """One day and the night after it; openings 0 to 1."""

    day: date
    by_day: float
    at_night: float
    words: str

    def to_json(self) -> dict[str, Any]:
        """For the API."""
        return {
            "day": self.day.isoformat(),
            "by_day": self.by_day,
            "at_night": self.at_night,
            "words": self.words,
        }


def days_lived(openings: Sequence[tuple[float | None, float | None]]) -> int:
    """How many days of the plan the recorded lid has lived through.

    A day that fell short, a night that had to stay shut, and one of which nothing is known count as
    none: the plan waits at that day.

    Args:
        openings: Of the days that are over, oldest first: mean opening by day and in the night after
            it, 0 to 1; None where it is not known.
    """
    done = 0
    for by_day, at_night in openings:
        if done == len(DAY_OPENINGS):
            break
        if by_day is None or by_day < NEARLY * DAY_OPENINGS[done]:
            continue
        if NIGHT_OPENINGS[done] == CLOSED or (
            at_night is not None and at_night >= NEARLY * NIGHT_OPENINGS[done]
        ):
            done += 1
    return done


def hardening_plan(
    start: date,
    *,
    frost_limit_c: float,
    days_done: int = 0,
    tonight_low_c: float | None = None,
    today_high_c: float | None = None,
    unit: Unit = "C",
) -> tuple[HardeningDay, ...]:
    """What is left of the week from `start` (today) on.

    Args:
        frost_limit_c: The tenderest batch's limit.
        days_done: Days of the plan already lived through; a night that had to stay shut does not count.
        tonight_low_c: Low end of tonight's forecast outside; None: nothing is known, the lid stays shut.
        today_high_c: Of the forecast; a day colder than 4.4 °C outside is not used.
    """
    plan = []
    for k in range(days_done, len(DAY_OPENINGS)):
        day = start + timedelta(days=k - days_done)
        by_day, at_night = DAY_OPENINGS[k], NIGHT_OPENINGS[k]
        words = "as planned; looked at again each evening"
        if k == days_done:
            by_day, at_night, words = _tonight(
                by_day, at_night, frost_limit_c, tonight_low_c, today_high_c, unit
            )
        plan.append(HardeningDay(day=day, by_day=by_day, at_night=at_night, words=words))
    return tuple(plan)


def hardening_words(box: str, plan: Sequence[HardeningDay]) -> str:
    """What is left of a box's plan in one sentence for an evening: tonight's lid and tomorrow's."""
    if not plan:
        return f"{box} is hardened off: its cover can go."
    tonight = plan[0]
    night = f"lid {_opening_words(tonight.at_night)} tonight"
    if tonight.words.startswith("shut tonight"):
        night += f" ({tonight.words.partition(': ')[2]})"
    tomorrow = f", {_opening_words(plan[1].by_day)} tomorrow" if len(plan) > 1 else ""
    day = len(DAY_OPENINGS) - len(plan) + 1
    return f"Hardening off {box}, day {day} of {len(DAY_OPENINGS)}: {night}{tomorrow}."


def _opening_words(opening: float) -> str:
    return _WORDS[min(_WORDS, key=lambda known: abs(known - opening))]


def _tonight(
    by_day: float,
    at_night: float,
    frost_limit_c: float,
    tonight_low_c: float | None,
    today_high_c: float | None,
    unit: Unit,
) -> tuple[float, float, str]:
    reasons = []
    if today_high_c is not None and today_high_c < COLD_DAY_C:
        by_day = CLOSED
        reasons.append(f"shut by day: not above {degrees(COLD_DAY_C, unit)} outside")
    if at_night > CLOSED and tonight_low_c is None:
        at_night = CLOSED
        reasons.append("shut tonight: no forecast")
    elif at_night > CLOSED and tonight_low_c is not None and tonight_low_c < frost_limit_c + MARGIN_C:
        at_night = CLOSED
        reasons.append(f"shut tonight: it may fall to {degrees(tonight_low_c, unit)}")
    return by_day, at_night, "; ".join(reasons) or "as planned"
