"""A box's week of hardening off, with tonight's forecast as issued by the watch; its line in the brief."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import time, timedelta
from pathlib import Path

from propstick.app.season.sown import Sown
from propstick.app.season.words import in_figures_of
from propstick.edges.journal import Journal
from propstick.edges.store import Store
from propstick.engine.nights import night_of
from propstick.engine.wording import listed
from propstick.errors import InputError
from propstick.garden import OUTSIDE, Garden
from propstick.growing.hardening import (
    DAY_OPENINGS,
    HardeningDay,
    HardeningEvening,
    days_lived,
    evening_of,
    hardening_plan,
)
from propstick.news import HardeningTold
from propstick.records import Brief, LidOpening, NightForecast
from propstick.times import DAY_S, at_local, local_date

LOOK_BACK_D = 14
"""A lid opened longer ago has hardened what has grown since no more."""
LONGEST_D = 21
"""Begun longer ago and not done: forgotten, or put off; nobody is reminded for ever. Ours."""
LINE_LENGTH = 160
"""Of a brief of about 320 characters; longer, it leaves out why."""
DAY_FROM, DAY_UNTIL, NIGHT_FROM, NIGHT_UNTIL = time(10), time(16), time(22), time(6)
"""The hours whose mean opening counts, on the garden's clock. Ours."""


def plan_for(
    store: Store, garden: Garden, box: str, now_s: int, *, done: int | None = None,
    garden_file: Path | None = None,
) -> tuple[HardeningDay, ...]:  # fmt: skip
    """What is left of the week; empty when it has been lived through.

    Args:
        done: Days of it already lived through; None: as the recorded lid says.

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
        begun_s = hardened_since(journal, now_s).get(box)
        done = days_lived(openings_of(journal, garden, box, now_s, begun_s=begun_s))
    limit = garden.limits_for(box, today).frost_c
    assert limit is not None
    return hardening_plan(
        today,
        frost_limit_c=limit,
        days_done=done,
        tonight_low_c=_tonight(journal, garden, now_s),
        unit=garden.site.unit,
    )


def hardened_since(journal: Journal, now_s: int) -> dict[str, int]:
    """Boxes of which a person has said that they are being hardened off, and since when [UTC s]."""
    found: dict[str, int] = {}
    for told in journal.news_between(now_s - LONGEST_D * DAY_S, now_s, kinds=(HardeningTold,)):
        assert isinstance(told, HardeningTold)
        if told.on:
            found.setdefault(told.box, told.time_s)
        else:
            found.pop(told.box, None)
    return found


def evening_line(store: Store, garden: Garden, brief: Brief, nights: Sequence[NightForecast]) -> str:
    """What the evening brief says of boxes being hardened off; empty where there are none.

    Args:
        garden: With its sowings: the tenderest batch decides.
        nights: The forecasts issued with the brief, which the store does not have yet.
    """
    journal, now_s, unit = Journal(store, garden.site.name), brief.issued_s, garden.site.unit
    shut = {line.box for line in brief.lines if line.advice in ("close", "cover")}
    low_c = next((one.low_c for one in nights if one.box == OUTSIDE), None)
    if low_c is None:
        low_c = _tonight(journal, garden, now_s)
    evenings: dict[HardeningEvening, list[str]] = {}
    for box, begun_s in hardened_since(journal, now_s).items():
        if box not in garden.box_names or garden.known_empty(box, brief.date):
            continue
        limit = garden.limits_for(box, brief.date).frost_c
        assert limit is not None
        found = evening_of(
            days_done=days_lived(openings_of(journal, garden, box, now_s, begun_s=begun_s)),
            today=_today(journal, garden, box, now_s),
            frost_limit_c=limit,
            tonight_low_c=low_c,
            must_shut=box in shut,
            unit=unit,
        )
        if found is not None:
            evenings.setdefault(found, []).append(box)
    for short in (False, True):
        said = " ".join(
            f"Harden {listed(boxes)}, day {min(one.number, len(DAY_OPENINGS))} of {len(DAY_OPENINGS)}: "
            f"{one.words(unit, brief=short)}."
            for one, boxes in evenings.items()
        )
        if len(said) <= LINE_LENGTH:
            break
    return in_figures_of(said, garden.decimal_sign)


def _today(journal: Journal, garden: Garden, box: str, now_s: int) -> float | None:
    """Mean opening of today's hours by day so far; None before they begin, and where it is not known."""
    zone = garden.site.zone
    day = local_date(now_s, zone)
    begin_s, end_s = at_local(day, DAY_FROM, zone), min(at_local(day, DAY_UNTIL, zone), now_s)
    return _mean(_lids(journal, box, begin_s, end_s), begin_s, end_s) if end_s > begin_s else None


def _lids(journal: Journal, box: str, first_s: int, now_s: int) -> list[LidOpening]:
    # A lid is recorded when it changes: the last change before may lie long ago.
    return [one for one in journal.issued("lids", first_s - 60 * DAY_S, now_s + 1) if one.box == box]


def openings_of(
    journal: Journal, garden: Garden, box: str, now_s: int, *, begun_s: int | None = None
) -> list[tuple[float | None, float | None]]:
    """Mean opening by day and in the night after it, of the last fortnight's nights that are over.

    Args:
        begun_s: When hardening off was begun: days before it count for nothing.
    """
    zone = garden.site.zone
    today = local_date(now_s, zone)
    known = _lids(journal, box, at_local(today - timedelta(days=LOOK_BACK_D), time(0), zone), now_s)
    found = []
    for back in range(LOOK_BACK_D, 0, -1):
        day = today - timedelta(days=back)
        next_day = day + timedelta(days=1)
        if at_local(next_day, NIGHT_UNTIL, zone) > now_s:
            continue
        if begun_s is not None and day < local_date(begun_s, zone):
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


def _tonight(journal: Journal, garden: Garden, now_s: int) -> float | None:
    """Low end of the newest forecast of the coming night outside; None where there is none."""
    today = local_date(now_s, garden.site.zone)
    nights = {today}
    if night_of(garden.site, today - timedelta(days=1)).end_s > now_s:
        nights = {today - timedelta(days=1)}  # still in the night that began yesterday
    issued = [
        one for one in journal.issued("nights", now_s - DAY_S, now_s + 1)
        if one.box == OUTSIDE and one.night in nights
    ]  # fmt: skip
    return issued[-1].low_c if issued else None
