"""Marks of the day's maximum, for the lid as it stood: what another lid would have given nobody saw."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from math import nan
from typing import Any

import numpy as np

from propstick.app.skill.verdict import Judged
from propstick.engine.nights import daylight_of
from propstick.engine.rise import issue_class
from propstick.garden import Garden
from propstick.records import DayForecast, LidOpening

USUAL_DAYS = 10
CALLED = ("before sunrise", "1 h after sunrise", "3 h after sunrise", "later in the day")


def day_rows(
    garden: Garden,
    forecasts: Sequence[DayForecast],
    whole: Mapping[tuple[str, date], float],
    lids: Sequence[LidOpening],
) -> Iterable[dict[str, Any]]:
    """One row for each issue class and plain method. Days on which the lid was moved after it are left out.

    Args:
        whole: The highest air of each day that was seen from beginning to end.
        lids: Openings; those told or shown by a contact count as moves.
    """
    moves: dict[str, list[int]] = defaultdict(list)
    for lid in lids:
        if lid.known_from != "estimate":
            moves[lid.box].append(lid.time_s)
    judged: dict[int, Judged] = defaultdict(Judged)
    for forecast in sorted(forecasts, key=lambda one: one.issued_s):
        came_c = whole.get((forecast.box, forecast.day))
        if forecast.lid != "as-is" or came_c is None:
            continue
        light = daylight_of(garden.site, forecast.day)
        if any(forecast.issued_s < moved_s <= light.sunset_s for moved_s in moves[forecast.box]):
            continue
        before = [
            whole.get((forecast.box, forecast.day - timedelta(days=k)), nan) for k in range(1, USUAL_DAYS + 1)
        ]
        known = [value for value in before if not np.isnan(value)]
        judged[issue_class(light, forecast.issued_s)].add(
            forecast.max_c,
            forecast.low_c,
            forecast.high_c,
            came_c=came_c,
            plain_c={
                "the day before's maximum": before[0],
                "mean of ten days": float(np.mean(known)) if known else nan,
            },
        )
    for k in sorted(judged):
        yield from judged[k].rows(f"day maximum, {CALLED[k]}", cases="days")
