"""A box's week of hardening off, with tonight's forecast as the watch issued it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, time, timedelta
from pathlib import Path

from propstick.app.sown import Sown
from propstick.edges.database import Store
from propstick.edges.journal import Journal
from propstick.engine.nights import night_of
from propstick.errors import InputError
from propstick.garden import OUTSIDE, Garden
from propstick.growing.hardening import (
    DAY_OPENINGS,
    HardeningDay,
    days_lived,
    hardening_plan,
    hardening_words,
)
from propstick.records import HardeningTold, LidOpening, NightForecast
from propstick.times import DAY_S, at_local, local_date

LOOK_BACK_D = 14
"""A lid opened longer ago has hardened what has grown since no more."""
LAPSES_D = 21
"""Hardening off that was told to begin so long ago, and never to end, is over."""
DAY_FROM, DAY_UNTIL, NIGHT_FROM, NIGHT_UNTIL = time(10), time(16), time(22), time(6)
"""The hours whose mean opening counts, on the garden's clock. Ours."""


def plan_for(
    store: Store, garden: Garden, box: str, now_s: int, *, done: int | None = None,
    issued: Sequence[NightForecast] = (), garden_file: Path | None = None,
) -> tuple[HardeningDay, ...]:  # fmt: skip
    """What is left of the week; empty when it has been lived through.

    Args:
        done: Days of it already lived through; None: as the recorded lid says, from the day on which
            hardening off was told to begin if it was.
        issued: Night forecasts so new that they are not in the store.

    Raises:
        InputError: no such box, or more days than a week has.
    """
    if box not in garden.box_names:
        names = ", ".join(garden.box_names) or "none"
        raise InputError(f"hardening: got box {box!r}, expected one of {names}")
    if done is not None and not 0 <= done < len(DAY_OPENINGS):
        raise InputError(f"--done: got {done}, expected 0 to {len(DAY_OPENINGS) - 1} days")
    name = garden.site.name
    garden = replace(garden, sowings=Sown(store, name, garden_file=garden_file)())
    today = local_date(now_s, garden.site.zone)
    journal = Journal(store, name)
    if done is None:
        begun = hardened_since(journal, garden, now_s).get(box)
        back = LOOK_BACK_D if begun is None else min(LOOK_BACK_D, (today - begun).days)
        done = days_lived(openings_of(journal, garden, box, now_s, days=back))
    limit = garden.limits_for(box, today).frost_c
    assert limit is not None
    return hardening_plan(
        today,
        frost_limit_c=limit,
        days_done=done,
        tonight_low_c=_tonight(journal, garden, now_s, issued),
        unit=garden.site.unit,
    )


def hardened_since(journal: Journal, garden: Garden, now_s: int) -> dict[str, date]:
    """Boxes that are being hardened off by what was told, and the day on which that began."""
    found: dict[str, date] = {}
    for told in journal.news_between(now_s - LAPSES_D * DAY_S, now_s, kinds=(HardeningTold,)):
        assert isinstance(told, HardeningTold)
        if not told.on:
            found.pop(told.box, None)
        elif told.box in garden.box_names:
            found.setdefault(told.box, local_date(told.time_s, garden.site.zone))
    return found


def reminders(
    store: Store, garden: Garden, now_s: int, *, issued: Sequence[NightForecast] = (),
    garden_file: Path | None = None,
) -> list[str]:  # fmt: skip
    """For an evening brief: a sentence on each box that is being hardened off, tonight and tomorrow."""
    begun = hardened_since(Journal(store, garden.site.name), garden, now_s)
    return [
        hardening_words(box, plan_for(store, garden, box, now_s, issued=issued, garden_file=garden_file))
        for box in sorted(begun)
    ]


def openings_of(
    journal: Journal, garden: Garden, box: str, now_s: int, *, days: int = LOOK_BACK_D
) -> list[tuple[float | None, float | None]]:
    """Mean opening by day and in the night after it, of the last `days` whose nights are over."""
    zone = garden.site.zone
    today = local_date(now_s, zone)
    first_s = at_local(today - timedelta(days=days), time(0), zone)
    # A lid is recorded when it changes: the last change before may lie long ago.
    known = [one for one in journal.issued("lids", first_s - 60 * DAY_S, now_s + 1) if one.box == box]
    found = []
    for back in range(days, 0, -1):
        day = today - timedelta(days=back)
        next_day = day + timedelta(days=1)
        if at_local(next_day, NIGHT_UNTIL, zone) > now_s:
            continue
        found.append(
            (
                _mean(known, at_local(day, DAY_FROM, zone), at_local(day, DAY_UNTIL, zone)),
                _mean(known, at_local(day, NIGHT_FROM, zone), at_local(next_day, NIGHT_UNTIL, zone)),
            )
        )
    return found


def _mean(known: Sequence[LidOpening], start_s: int, stop_s: int) -> float | None:
    """Mean opening of a stretch; None where nothing was recorded before its end."""
    before = [one for one in known if one.time_s <= start_s]
    within = [one for one in known if start_s < one.time_s < stop_s]
    if not before and not within:
        return None
    opening = before[-1].opening if before else within[0].opening
    total, at_s = 0.0, start_s
    for one in within:
        total += opening * (one.time_s - at_s)
        opening, at_s = one.opening, one.time_s
    return (total + opening * (stop_s - at_s)) / (stop_s - start_s)


def _tonight(journal: Journal, garden: Garden, now_s: int, issued: Sequence[NightForecast]) -> float | None:
    """Low end of the newest forecast of the coming night outside; None where there is none."""
    today = local_date(now_s, garden.site.zone)
    nights = {today}
    if night_of(garden.site, today - timedelta(days=1)).end_s > now_s:
        nights = {today - timedelta(days=1)}  # still in the night that began yesterday
    known = [
        one for one in (*journal.issued("nights", now_s - DAY_S, now_s + 1), *issued)
        if one.box == OUTSIDE and one.night in nights
    ]  # fmt: skip
    return known[-1].low_c if known else None
