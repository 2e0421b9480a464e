"""A box's week of hardening off, with tonight's forecast as the watch issued it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from propstick.app.sown import Sown
from propstick.edges.database import Store
from propstick.edges.journal import Journal
from propstick.engine.nights import night_of
from propstick.errors import InputError
from propstick.garden import OUTSIDE, Garden
from propstick.growing.hardening import DAY_OPENINGS, HardeningDay, hardening_plan
from propstick.times import DAY_S, local_date


def plan_for(
    store: Store, garden: Garden, box: str, now_s: int, *, done: int = 0, garden_file: Path | None = None
) -> tuple[HardeningDay, ...]:
    """What is left of the week.

    Raises:
        InputError: no such box, or a week that is over.
    """
    if box not in garden.box_names:
        names = ", ".join(garden.box_names) or "none"
        raise InputError(f"hardening: got box {box!r}, expected one of {names}")
    if not 0 <= done < len(DAY_OPENINGS):
        raise InputError(f"--done: got {done}, expected 0 to {len(DAY_OPENINGS) - 1} days")
    name = garden.site.name
    garden = replace(garden, sowings=Sown(store, name, garden_file=garden_file)())
    today = local_date(now_s, garden.site.zone)
    limit = garden.limits_for(box, today).frost_c
    assert limit is not None
    return hardening_plan(
        today,
        frost_limit_c=limit,
        days_done=done,
        tonight_low_c=_tonight(Journal(store, name), garden, now_s),
        unit=garden.site.unit,
    )


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
