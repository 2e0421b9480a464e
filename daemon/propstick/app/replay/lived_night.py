"""A night as it was lived, from what the watch stored: nothing is computed again."""

from __future__ import annotations

from dataclasses import fields
from datetime import date, datetime
from typing import Any

from propstick.app.replay.report import Report, air_of, observed_days, observed_nights
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.edges.store import Store
from propstick.engine.nights import night_of
from propstick.errors import InputError
from propstick.garden import Garden
from propstick.news import CoverTold, GardenChanged
from propstick.records import Alarm
from propstick.times import DAY_S, row_at_or_before, utc_text

_TIMES = {
    "raised_s": "raised", "begun_s": "begun", "returned_s": "returned", "acknowledged_s": "acknowledged",
    "shelved_until_s": "shelved_until", "peak_s": "peak_at", "eta_s": "eta", "eta_low_s": "eta_low",
    "eta_high_s": "eta_high",
}  # fmt: skip
"""Field of `Alarm` → key of its object."""


def lived_night(store: Store, garden: Garden, night: date) -> Report:
    """The report of one night: readings, and alarms, notices, briefs and forecasts as they were issued.

    Args:
        garden: As it is now; shown is the garden of then.

    Raises:
        InputError: nothing is stored of that night.
    """
    journal, log = Journal(store, garden.site.name), ReadingLog(store, garden.site.name)
    tonight = night_of(garden.site, night)
    from_s = row_at_or_before(tonight.start_s, garden.step_s)
    to_s = row_at_or_before(tonight.end_s, garden.step_s)
    then = garden_of_then(journal, garden, from_s)
    readings = log.columns((from_s - then.step_s) * 1000 + 1, to_s * 1000 + 1)
    if not len(readings):
        raise InputError(
            f"night {night.isoformat()}: got no reading from {utc_text(from_s)} to {utc_text(to_s)}",
            hint="GET /v1/nights lists those that were watched",
        )
    until_s = to_s + 1
    span, air = {"from_s": from_s, "to_s": to_s}, air_of(readings, then)
    told = journal.news_between(from_s - 2 * DAY_S, to_s)
    return Report(
        garden=then,
        **span,
        alarms=tuple(alarm_of(one) for one in journal.alarms(from_s, until_s)),
        notices=tuple(n for n in journal.notices(from_s, until_s) if "brief" not in n.kinds),
        briefs=journal.briefs(from_s, until_s),
        heat=journal.issued("heat", from_s, until_s),
        night_forecasts=journal.issued("nights", from_s, until_s),
        day_forecasts=journal.issued("days", from_s, until_s),
        nights=tuple(one for one in observed_nights(air, then, **span) if one.date == night),
        days=observed_days(air, then, **span),
        lids=journal.issued("lids", from_s - 2 * DAY_S, until_s),
        covers=tuple(item for item in told if isinstance(item, CoverTold)),
        readings=readings,
        aside=readings.taken(slice(0)),
    )


def garden_of_then(journal: Journal, garden: Garden, time_s: int) -> Garden:
    """The garden that was in force at a row: the last change before it, else the one of now."""
    found = journal.news_between(0, time_s, kinds=(GardenChanged,))
    changes = [item for item in found if isinstance(item, GardenChanged)]
    return changes[-1].garden if changes else garden


def alarm_of(shown: dict[str, Any]) -> Alarm:
    """The record of an alarm's object in the external contract, to the second and hundredth it has."""
    values = {
        field: None if shown.get(key) is None else int(datetime.fromisoformat(shown[key]).timestamp())
        for field, key in _TIMES.items()
    }
    plain = {f.name: shown[f.name] for f in fields(Alarm) if f.name in shown}
    return Alarm(**{**plain, **values})
