"""The reminder to water in a brief: from the estimate, for boxes that no moisture probe watches."""

from __future__ import annotations

import logging
from datetime import time

from propstick.app.season.boxes import water_of
from propstick.app.season.crop_book import crops_beside
from propstick.app.season.hours import plot_hours
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.edges.sowings import Sowings
from propstick.edges.store import Store
from propstick.errors import PropstickError
from propstick.garden import Garden
from propstick.growing.water import WaterLost
from propstick.times import DAY_S, at_local, local_date

log = logging.getLogger(__name__)

LOOK_BACK_D = 60
"""Longer since a watering than anybody leaves seedlings: then it was not told."""


def reminder(store: Store, garden: Garden, now_s: int) -> str:
    """One sentence on every box that is reckoned dry since a watering that was told, or empty.

    Without any watering told nothing is said: a person who does not tell would be reminded for ever.
    A store that cannot be read costs the reminder, not the brief.
    """
    try:
        due = _due(store, garden, now_s)
    except PropstickError as error:
        log.warning("no-water-reminder reason=%r", error.message)
        return ""
    if not due:
        return ""
    if len(due) > 1:  # a brief is short
        return f"Look whether these are dry: {', '.join(due)}."
    ((box, lost),) = due.items()
    return f"Look whether {box} is dry: about {lost.lost_mm:.0f} mm lost since {lost.since:%-d %B}."


def _due(store: Store, garden: Garden, now_s: int) -> dict[str, WaterLost]:
    name, zone = garden.site.name, garden.site.zone
    today = local_date(now_s, zone)
    standing = [
        one for one in Sowings(store, name).all()
        if one.sown is not None and one.sown <= today and (one.cleared is None or one.cleared > today)
    ]  # fmt: skip
    if not standing:  # sixty days of hours are not read for nothing
        return {}
    plot = plot_hours(
        ReadingLog(store, name), Journal(store, name), garden,
        first_s=at_local(local_date(now_s - LOOK_BACK_D * DAY_S, zone), time(0), zone), now_s=now_s,
    )  # fmt: skip
    crops = crops_beside(None)
    found = {}
    for box in garden.box_names:
        mine = [one for one in standing if one.box == box]
        told_s = plot.watered.get(box)
        if not mine or told_s is None or told_s < now_s - LOOK_BACK_D * DAY_S:
            continue
        lost = water_of(plot, box, mine, crops)
        if isinstance(lost, WaterLost) and lost.is_due:
            found[box] = lost
    return found
