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


@dataclass(frozen=True, kw_only=True)
class HardeningEvening:
    """What an evening asks of a box that is hardened off.

    Attributes:
        number: The plan's day that comes tomorrow, 1 to 7; one more when all of it has been lived through.
        tonight: Opening of the lid for the night, 0 to 1.
        tomorrow: By day tomorrow; None when the cover can go.
        reason: Why the night is not as planned; empty if it is.
        is_cold: Whether the night is too cold for an early start tomorrow.
    """

    number: int
    tonight: float
    tomorrow: float | None
    reason: str
    is_cold: bool

    def words(self, unit: Unit = "C", *, brief: bool = False) -> str:
        """`shut tonight; half open tomorrow by day`; `brief` leaves out why."""
        shut = self.tonight == CLOSED
        night = "shut tonight" if shut else f"{_OPEN[self.tonight]} tonight too"
        why = f", {self.reason}" if self.reason and not brief else ""
        if self.tomorrow is None:
            return f"{night}{why}; after that its cover can go"
        once = f" once above {degrees(COLD_DAY_C, unit)} outside" if self.is_cold and not brief else " by day"
        return f"{night}{why}; tomorrow {_OPEN[self.tomorrow]}{once}"


_OPEN = {0.1: "propped", 0.3: "a third open", 0.5: "half open", 1.0: "wide open"}
"""Every opening of the plan in words: a phone is read in the hand that holds the lid."""


def evening_of(
    *,
    days_done: int,
    today: float | None,
    frost_limit_c: float,
    tonight_low_c: float | None,
    must_shut: bool = False,
    unit: Unit = "C",
) -> HardeningEvening | None:
    """Tonight's and tomorrow's opening. None when the whole week has been lived through.

    A day that fell short is done again, and its night stays shut; so is one whose night must stay shut.

    Args:
        days_done: Days of the plan over and lived through, before today.
        today: Mean opening of today's hours by day; None where it is not known.
        frost_limit_c: The tenderest batch's limit.
        tonight_low_c: Low end of tonight's forecast outside; None where there is none.
        must_shut: Whether tonight's advice for the box is to close or cover it.
    """
    if days_done >= len(DAY_OPENINGS):
        return None
    is_cold = tonight_low_c is not None and tonight_low_c < frost_limit_c + MARGIN_C
    planned, reason = NIGHT_OPENINGS[days_done], ""
    lived = today is not None and today >= NEARLY * DAY_OPENINGS[days_done]
    tonight = planned if lived else CLOSED
    if tonight > CLOSED and must_shut:
        tonight = CLOSED
    elif tonight > CLOSED:
        _, tonight, words = _tonight(1.0, planned, frost_limit_c, tonight_low_c, None, unit)
        reason = words.removeprefix("shut tonight: ") if tonight == CLOSED else ""
    step = days_done + (lived and tonight == planned)
    return HardeningEvening(
        number=step + 1,
        tonight=tonight,
        tomorrow=DAY_OPENINGS[step] if step < len(DAY_OPENINGS) else None,
        reason=reason,
        is_cold=is_cold,
    )


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
