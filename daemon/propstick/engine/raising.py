"""An alarm put on record: what it says of itself when it is raised."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import isnan, nan
from typing import Any

from propstick.engine.briefs import BoxView
from propstick.engine.kinds import FORECASTS, KINDS
from propstick.engine.standing import Standing, alarm_id
from propstick.engine.wording import Speech, alarm_message, blind_detail
from propstick.records import Alarm

SILENT_HEAT_C, SILENT_FROST_C = 5.0, 3.0
"""A box whose last air probe falls silent this near to a limit is told of at once."""


@dataclass(frozen=True)
class Seen:
    """A box whose air probe falls silent: as it is seen now, and as it was last."""

    view: BoxView
    last_air_c: float
    is_day: bool


def recorded(
    standing: Standing,
    at_s: int,
    facts: Mapping[str, Any],
    *,
    view: BoxView | None,
    seen: Seen | None,
    speech: Speech,
) -> Standing:
    """The point with a new alarm on record, raised at `at_s` on these facts.

    Args:
        view: The box at that row; None where the alarm is of no box.
        seen: The box again, where its last air probe has fallen silent.
    """
    kind, subject = KINDS[standing.kind], standing.subject
    alarm = Alarm(
        id=alarm_id(standing.kind, subject, at_s),
        box=subject.box,
        kind=standing.kind,
        state="unacknowledged",
        raised_s=at_s,
        begun_s=at_s if standing.begun_s is None else standing.begun_s,
        probe=subject.probe,
        place=subject.place,
        urgency=kind.urgency,
        severity=kind.severity,
        certainty=kind.certainty,
        outcome="open" if standing.kind in FORECASTS else None,
    )
    alarm = replace(alarm, **facts)
    if standing.foretold_s is not None and standing.foretold_by in FORECASTS:
        alarm = replace(alarm, lead_minutes=(alarm.begun_s - standing.foretold_s) / 60.0)
    pressing = None if seen is None else _pressing(seen, speech)
    lid, cover = (nan, nan) if view is None else (view.lid, view.cover)
    message = alarm_message(alarm, speech, detail=pressing or standing.detail, lid=lid, cover=cover)
    return replace(standing, alarm=replace(alarm, message=message), pressing=pressing is not None)


def _pressing(seen: Seen, speech: Speech) -> str | None:
    """Why the silence cannot wait: no air probe left, and a limit near. None if it can."""
    view, air_c = seen.view, seen.last_air_c
    heat_c, frost_c = view.limits.heat_c, view.limits.frost_c
    if not isnan(view.air_c) or view.empty or heat_c is None or frost_c is None:
        return None
    if seen.is_day and air_c >= heat_c - SILENT_HEAT_C:
        return blind_detail(air_c, heat_c, speech)
    return blind_detail(air_c, frost_c, speech) if air_c <= frost_c + SILENT_FROST_C else None
