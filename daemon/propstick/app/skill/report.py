"""The whole report: every kind of forecast of a stretch, for a recording or out of the store alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from propstick.app.place_series import Series
from propstick.app.replay.report import Observed
from propstick.app.skill.days import day_rows
from propstick.app.skill.heat import chance_rows, frost_warning_rows, warning_rows
from propstick.app.skill.nights import night_rows
from propstick.garden import Garden
from propstick.records import Alarm, DayForecast, HeatForecast, LidOpening, NightForecast


def skill_of(
    garden: Garden,
    air: Mapping[str, Series],
    *,
    nights: Sequence[NightForecast],
    days: Sequence[DayForecast],
    heat: Sequence[HeatForecast],
    alarms: Sequence[Alarm],
    lids: Sequence[LidOpening],
    observed_nights: Sequence[Observed],
    observed_days: Sequence[Observed],
    since_s: int | None = None,
) -> tuple[dict[str, Any], ...]:
    """One object for each kind of forecast and plain method, and one for the warnings of heat and of frost.

    Args:
        air: What each box measured.
        since_s: Where the stretch begins, if what was measured before it is given too.
    """
    return (
        *night_rows(garden, air, nights, _by_date(observed_nights)),
        *day_rows(garden, days, _by_date(observed_days), lids),
        *chance_rows(air, heat),
        *warning_rows(air, alarms, since_s=since_s),
        *frost_warning_rows(alarms),
    )


def _by_date(observed: Sequence[Observed]) -> dict[tuple[str, date], float]:
    """Extremes of nights or days that were seen whole."""
    return {(o.box, o.date): o.value_c for o in observed if o.whole and o.value_c is not None}
