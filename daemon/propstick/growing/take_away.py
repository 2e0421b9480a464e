"""What a box still does for its batches, what it costs them, and when it has done its job."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

import numpy as np

from propstick.growing.emergence import degrees
from propstick.growing.warmth import degree_hours_above, hours_above
from propstick.units import FloatArray, Unit

WEEK_D = 7
QUIET_D = 14
"""A box that saved no night for so long, with no cold night in sight, has done its job. Ours."""
COSTLY_H = 7
"""Hours above the limit in a week from which the heat counts as a cost: an hour a day. Ours."""
SMALL_RISK = 0.05

Verdict = Literal["keep", "air", "take-away"]


@dataclass(frozen=True, kw_only=True)
class NightLow:
    """A night's lowest air inside and outside [°C], by the date it began; None: not measured."""

    night: date
    inside_c: float | None
    outside_c: float | None

    def was_saved(self, limit_c: float) -> bool:
        """Whether it fell below the limit outside and not inside."""
        if self.inside_c is None or self.outside_c is None:
            return False
        return self.outside_c < limit_c <= self.inside_c


@dataclass(frozen=True, kw_only=True)
class Worth:
    """What a box saved and cost.

    Attributes:
        nights_saved: This season.
        last_saved: The last such night; None if there was none.
        hot_hours, hot_degree_hours: Above the heat limit in the last seven days.
        frost_risk: Chance of a night below the limit outside within two weeks; None without nights.
        days_to_pick: To the last batch's expected first pick; None where nothing is expected.
        has_outside: Whether any night outside was measured; without one nothing can be called saved.
    """

    nights_saved: int
    last_saved: date | None
    hot_hours: int
    hot_degree_hours: float
    heat_limit_c: float
    frost_limit_c: float
    frost_risk: float | None
    days_to_pick: float | None
    verdict: Verdict
    has_outside: bool = True

    def words(self, box: str, *, since: date | None, unit: Unit = "C") -> str:
        """The balance in a sentence."""
        limit = degrees(self.heat_limit_c, unit)
        if self.hot_hours:
            hours = "1 hour" if self.hot_hours == 1 else f"{self.hot_hours} hours"
            cost = f"the box has cost {box} {hours} above {limit} this week"
        else:
            cost = f"{box} had no hour above {limit} this week"
        if self.last_saved is not None:
            saved = f"the last night it saved was {self.last_saved:%-d %B}"
        elif not self.has_outside:
            saved = "what nights it saves is not known without an air probe outside"
        else:
            saved = "it has saved no night" + (f" since {since:%-d %B}" if since is not None else " yet")
        return f"{cost}, and {saved}: {_DO[self.verdict]}"

    def to_json(self) -> dict[str, Any]:
        """For the API."""
        return {
            "nights_saved": self.nights_saved,
            "last_saved": None if self.last_saved is None else self.last_saved.isoformat(),
            "hot_hours": self.hot_hours,
            "hot_degree_hours": round(self.hot_degree_hours, 1),
            "heat_limit_c": self.heat_limit_c,
            "frost_limit_c": self.frost_limit_c,
            "frost_risk": None if self.frost_risk is None else round(self.frost_risk, 2),
            "days_to_pick": None if self.days_to_pick is None else round(self.days_to_pick, 1),
            "verdict": self.verdict,
        }


_DO = {
    "keep": "keep it, nights may still need it",
    "air": "keep it for the nights and air it more by day",
    "take-away": "it has done its job here, take it where it serves",
}


def worth_of(
    nights: Sequence[NightLow],
    week_air_c: FloatArray,
    *,
    heat_limit_c: float,
    frost_limit_c: float,
    warming_c_per_day: float,
    today: date,
    days_to_pick: float | None = None,
) -> Worth:
    """What a box saved and cost, and whether it is still needed.

    Args:
        nights: Of the season, oldest first.
        week_air_c: Air inside of the last seven days, hour by hour.
        warming_c_per_day: Of the season, by which coming nights are milder than past ones.
    """
    saved = [night.night for night in nights if night.was_saved(frost_limit_c)]
    hot = hours_above(week_air_c, heat_limit_c)
    risk = frost_risk(
        [night.outside_c for night in nights[-QUIET_D:] if night.outside_c is not None],
        limit_c=frost_limit_c,
        warming_c_per_day=warming_c_per_day,
    )
    quiet = not saved or (today - saved[-1]).days > QUIET_D
    measured = sum(night.outside_c is not None for night in nights[-QUIET_D:])
    safe = quiet and risk is not None and risk < SMALL_RISK and measured >= WEEK_D
    verdict: Verdict = "take-away" if safe else "air" if hot >= COSTLY_H else "keep"
    return Worth(
        nights_saved=len(saved),
        last_saved=saved[-1] if saved else None,
        hot_hours=hot,
        hot_degree_hours=degree_hours_above(week_air_c, heat_limit_c),
        heat_limit_c=heat_limit_c,
        frost_limit_c=frost_limit_c,
        frost_risk=risk,
        days_to_pick=days_to_pick,
        verdict=verdict,
        has_outside=any(night.outside_c is not None for night in nights),
    )


def frost_risk(
    outside_lows_c: Sequence[float], *, limit_c: float, warming_c_per_day: float, nights: int = QUIET_D
) -> float | None:
    """Chance of a night below the limit within so many, if nights scatter as the last ones did.

    Nights are taken as normal about their mean, moved along the season; scatter at least 2.5 °C, since
    two weeks do not show all that weather can do. None with fewer than seven nights.
    """
    lows = np.array(outside_lows_c, dtype=float)
    if len(lows) < WEEK_D:
        return None
    scatter = max(2.5, float(lows.std(ddof=1)))
    spared = 1.0
    for ahead in range(1, nights + 1):
        mean = float(lows.mean()) + warming_c_per_day * (ahead + 0.5 * len(lows))
        below = 0.5 * math.erfc((mean - limit_c) / (scatter * math.sqrt(2.0)))
        # Nights resemble their neighbours: two weeks hold about five chances, not fourteen.
        spared *= (1.0 - below) ** (1.0 / 3.0)
    return 1.0 - spared
