"""Forecasts as they are put on record: one frozen value for each box, as issued."""

from __future__ import annotations

import numpy as np

from propstick.engine.day import DayMaximum
from propstick.engine.minute import Minutes
from propstick.engine.night import NightMinimum
from propstick.engine.nights import night_ending_after
from propstick.engine.schedule import Day
from propstick.garden import OUTSIDE, Garden
from propstick.records import DayForecast, HeatForecast, NightForecast

LIDS = ("closed", "propped", "open", "as-is")
FROST_C = 0.0
"""`p_frost` is the chance of frost itself: 0 °C or lower (Michigan State University Extension)."""


def heat_records(minutes: Minutes, garden: Garden) -> list[HeatForecast]:
    """The chances of heat of every box, at each moment they were worked out for."""
    ahead, found = minutes.ahead, []
    for m, time_s in enumerate(ahead.time_s.tolist()):
        for b, name in enumerate(garden.box_names):
            if not np.isnan(ahead.p30[m, b]):
                found.append(
                    HeatForecast(
                        box=name,
                        issued_s=time_s,
                        limit_c=float(ahead.limit_c[m, b]),
                        p20=float(ahead.p20[m, b]),
                        p30=float(ahead.p30[m, b]),
                        p60=float(ahead.p60[m, b]),
                    )
                )
    return found


def day_records(forecast: DayMaximum, garden: Garden, day: Day, issued_s: int) -> list[DayForecast]:
    """The day's maximum of every box, for each way the lid may stand."""
    found = []
    for b, box in enumerate(garden.boxes):
        for k, lid in enumerate(LIDS):
            if np.isnan(forecast.max_c[k, b]):
                continue
            found.append(
                DayForecast(
                    box=box.name,
                    day=day.date,
                    issued_s=issued_s,
                    lid=lid,  # type: ignore[arg-type]
                    max_c=float(forecast.max_c[k, b]),
                    low_c=float(forecast.low_c[k, b]),
                    high_c=float(forecast.high_c[k, b]),
                    method=forecast.method[k],
                )
            )
    return found


def night_records(tonight: NightMinimum, garden: Garden, issued_s: int) -> list[NightForecast]:
    """Tonight's minimum of every box and of the open ground."""
    night = night_ending_after(garden.site, issued_s)
    chance = tonight.p_below(FROST_C)
    found = []
    for k, name in enumerate((*garden.box_names, OUTSIDE)):
        if np.isnan(tonight.min_c[k]):
            continue
        found.append(
            NightForecast(
                box=name,
                night=night.date,
                issued_s=issued_s,
                min_c=float(tonight.min_c[k]),
                low_c=float(tonight.low_c[k]),
                high_c=float(tonight.high_c[k]),
                p_frost=float(chance[k]),
                method=tonight.method[k],
            )
        )
    return found


def minima_said(tonight: NightMinimum, garden: Garden) -> dict[str, float]:
    """Tonight's minimum of every box that has one."""
    return {
        name: float(tonight.min_c[k])
        for k, name in enumerate(garden.box_names)
        if not np.isnan(tonight.min_c[k])
    }
