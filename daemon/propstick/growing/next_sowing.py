"""When to sow next, so that picks follow each other evenly although the spring warms up.

Not every fortnight: a batch sown later catches up, so seeds go in further apart than the picks come.
The wished day of picking is taken, and warmth is counted back from it along the hours to come.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.growing.crops import Emergence
from propstick.growing.emergence import rate_per_day
from propstick.growing.harvest import Need, Window
from propstick.growing.learning import Z90, Factor
from propstick.growing.path import Path, beyond
from propstick.growing.warmth import degree_days
from propstick.times import DAY_S

PICK_EVERY_D = 14.0


@dataclass(frozen=True, kw_only=True)
class NextSowing:
    """The next batch.

    Attributes:
        sow: When; a date that has passed means today.
        pick_s: The day of picking it is counted back from.
    """

    sow: Window
    pick_s: float


def next_sowing(
    need: Need,
    table: Emergence,
    *,
    factor: Factor,
    soil: Path,
    air: Path,
    last_pick_s: float,
    every_d: float = PICK_EVERY_D,
) -> NextSowing | None:
    """When to sow so that the pick comes `every_d` days after the last batch's.

    Args:
        soil, air: Of the place, beginning no later than the sowing may lie and reaching past the pick.

    Returns:
        None where the pick lies beyond what can be foreseen.
    """
    pick_s = last_pick_s + every_d * DAY_S
    middle = _sown_s(need.warmth_c_d, factor.middle, table, soil, air, pick_s)
    if middle is None:
        return None
    low_need, high_need = need.bounds()
    # A longer need, or a colder spring, means sowing earlier.
    early = [
        _sown_s(high_need, factor.middle, table, soil, air, pick_s),
        _sown_s(need.warmth_c_d, factor.bounds()[1], table, soil, air, pick_s),
        _sown_s(need.warmth_c_d, factor.middle, table, soil, air, pick_s, deviations=-Z90),
    ]
    later = [
        _sown_s(low_need, factor.middle, table, soil, air, pick_s),
        _sown_s(need.warmth_c_d, factor.bounds()[0], table, soil, air, pick_s),
        _sown_s(need.warmth_c_d, factor.middle, table, soil, air, pick_s, deviations=Z90),
    ]
    # What would have had to be sown before the path begins is bounded by its beginning.
    begin_s = float(max(soil.time_s[0], air.time_s[0]))
    bounded = [begin_s if one is None else one for one in early]
    window = Window(
        expected_s=middle,
        low_s=beyond(middle, bounded, is_early=True),
        high_s=beyond(middle, later, is_early=False),
    )
    return NextSowing(sow=window, pick_s=pick_s)


def _sown_s(
    need_c_d: float,
    factor: float,
    table: Emergence,
    soil: Path,
    air: Path,
    pick_s: float,
    *,
    deviations: float = 0.0,
) -> float | None:
    """Counted back from the pick: first the warmth to emergence, then the rates to sowing."""
    warmth = degree_days(air.value_c + deviations * air.spread_c)
    up_s = _back(air, warmth, need_c_d, pick_s)
    if up_s is None:
        return None
    rates = rate_per_day(table, soil.value_c + deviations * soil.spread_c) / 24.0
    return _back(soil, rates, factor, up_s)


def _back(path: Path, gained: np.ndarray, target: float, end_s: float) -> float | None:
    """The latest hour from which `target` is gathered by `end_s`; None if the path is too short."""
    if not len(path.time_s) or end_s > path.time_s[-1]:
        return None
    stop = int(np.searchsorted(path.time_s, end_s))
    backwards = np.cumsum(gained[:stop][::-1])
    k = int(np.searchsorted(backwards, target))
    return None if k >= stop else float(path.time_s[stop - 1 - k])
