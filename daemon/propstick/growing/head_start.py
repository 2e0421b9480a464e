"""How far a box is ahead of the open ground: in warmth gathered, in days, and against the old rule."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from propstick.growing.coming import SWING_C, SWING_SPREAD, warming_c_per_day
from propstick.growing.hours import HOUR_S
from propstick.growing.learning import Z90
from propstick.growing.warmth import BASE_C, degree_days
from propstick.times import DAY_S
from propstick.units import FloatArray, IntArray

OLD_RULE_D = 30.0
"""A layer of glass puts a bed about a month ahead. Common practice, no source; extension pages say two
weeks to three months (Iowa State 2022, Wisconsin 2015, Cornell 2011)."""
LEAST_WARMING_C_PER_DAY = 0.04
"""Below it (midsummer, midwinter) a temperature says nothing about the date."""
LEAST_DAYS = 3


@dataclass(frozen=True, kw_only=True)
class HeadStart:
    """A box against the open ground.

    Attributes:
        inside_c_d, outside_c_d: Warmth gathered over the hours in which both were measured.
        days: So many days ago the box had what the open ground has now; None before either has any.
        later_d, later_low_d, later_high_d: The box is as warm as the open ground so many days later
            in the season; None where the season stands still.
        since_s, hours: First hour of the comparison, and how many both were measured.
    """

    inside_c_d: float
    outside_c_d: float
    days: float | None
    later_d: float | None
    later_low_d: float | None
    later_high_d: float | None
    since_s: int
    hours: int

    def words(self) -> str:
        """The head start in a sentence."""
        if self.days is None:
            return "no warmth gathered outside yet to compare with"
        ahead = f"{self.days:.0f} days ahead of the open ground so far"
        if self.later_d is None:
            return ahead
        rule = _against_rule(self.later_d)
        return f"{ahead}; as warm now as open ground {self.later_d:.0f} days later, {rule}"

    def to_json(self) -> dict[str, Any]:
        """For the API."""
        return {
            "inside_c_d": round(self.inside_c_d, 1),
            "outside_c_d": round(self.outside_c_d, 1),
            "days": _round(self.days),
            "later_days": _round(self.later_d),
            "later_days_low": _round(self.later_low_d),
            "later_days_high": _round(self.later_high_d),
            "hours": self.hours,
            "words": self.words(),
        }


def head_start(
    time_s: IntArray,
    inside_c: FloatArray,
    outside_c: FloatArray,
    *,
    latitude: float | None,
    base_c: float = BASE_C,
    recent_days: int = 14,
) -> HeadStart | None:
    """The head start over these hours; only those in which both places were measured count.

    Args:
        time_s: Hours, shape (h,); `inside_c` and `outside_c` alike, NaN where nothing was measured.
        recent_days: The stretch over which "as warm as so many days later" is taken.

    Returns:
        None with fewer than three days of common hours.
    """
    both = ~np.isnan(inside_c) & ~np.isnan(outside_c)
    if both.sum() < LEAST_DAYS * 24:
        return None
    then_s = time_s[both]
    # Without a ceiling: the comparison is of places, not of a plant that has had enough.
    inside = np.cumsum(degree_days(inside_c[both], base_c=base_c, best_c=60.0))
    outside = np.cumsum(degree_days(outside_c[both], base_c=base_c, best_c=60.0))
    recent = then_s >= then_s[-1] + HOUR_S - recent_days * DAY_S
    gap_c = float((inside_c[both] - outside_c[both])[recent].mean())
    later, low, high = _later(gap_c, 0.5 * float(then_s[recent][0] + then_s[-1]), latitude)
    return HeadStart(
        inside_c_d=float(inside[-1]),
        outside_c_d=float(outside[-1]),
        days=_days_ahead(then_s, inside, outside),
        later_d=later,
        later_low_d=low,
        later_high_d=high,
        since_s=int(then_s[0]),
        hours=int(both.sum()),
    )


def _days_ahead(time_s: IntArray, inside: FloatArray, outside: FloatArray) -> float | None:
    """Days since the place with more had what the one with less has now; negative if the box is behind."""
    total_in, total_out = float(inside[-1]), float(outside[-1])
    if min(total_in, total_out) <= 0.0:
        return None
    leader, reached = (inside, total_out) if total_in >= total_out else (outside, total_in)
    k = int(np.searchsorted(leader, reached))
    days = float(time_s[-1] - time_s[min(k, len(time_s) - 1)]) / DAY_S
    return days if total_in >= total_out else -days


def _later(
    gap_c: float, centre_s: float, latitude: float | None
) -> tuple[float | None, float | None, float | None]:
    warming = warming_c_per_day(centre_s, latitude, swing_c=SWING_C)
    if warming < LEAST_WARMING_C_PER_DAY:
        return None, None, None
    middle = gap_c / warming
    far = Z90 * SWING_SPREAD * abs(middle)
    return middle, middle - far, middle + far


def _against_rule(days: float) -> str:
    rule = "the old rule of a month for a layer of glass"
    if days > 1.25 * OLD_RULE_D:
        return f"more than {rule}"
    return f"less than {rule}" if days < 0.75 * OLD_RULE_D else f"about {rule}"


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 1)
