"""The report out of the store: what the watch itself issued, over a stretch of days."""

from __future__ import annotations

from datetime import date
from typing import Any

from propstick.app.replay.lived_night import alarm_of
from propstick.app.replay.report import air_of, observed_days, observed_nights
from propstick.app.skill.report import skill_of
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.edges.store import Store
from propstick.engine.nights import night_of
from propstick.garden import Garden
from propstick.times import DAY_S, local_date


def stored_skill(store: Store, garden: Garden, first: date, last: date) -> tuple[dict[str, Any], ...]:
    """Marks of every forecast of the nights and days from `first` to `last`, both included.

    The fortnight before is read too: plain methods learn from it.
    """
    journal, log = Journal(store, garden.site.name), ReadingLog(store, garden.site.name)
    begin_s, end_s = night_of(garden.site, first).start_s - DAY_S, night_of(garden.site, last).end_s
    air = [probe.id for box in garden.box_names for probe in garden.probes_at(box, "air")]
    readings = log.columns((begin_s - 14 * DAY_S) * 1000, end_s * 1000 + 1, probes=air)
    if not len(readings):
        return ()
    span = {"from_s": int(readings.time_ms[0]) // 1000, "to_s": int(readings.time_ms[-1]) // 1000}
    series, zone = air_of(readings, garden), garden.site.zone
    return skill_of(
        garden,
        series,
        nights=[one for one in journal.issued("nights", begin_s, end_s) if first <= one.night <= last],
        days=[one for one in journal.issued("days", begin_s, end_s) if first <= one.day <= last],
        heat=[
            one
            for one in journal.issued("heat", begin_s, end_s)
            if first <= local_date(one.issued_s, zone) <= last
        ],
        alarms=[alarm_of(one) for one in journal.alarms(begin_s, end_s)],
        lids=journal.issued("lids", begin_s, end_s),
        observed_nights=observed_nights(series, garden, **span),
        observed_days=observed_days(series, garden, **span),
        since_s=begin_s,
    )
