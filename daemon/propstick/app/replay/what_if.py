"""What the stretch would have been with another lid or cover from some moment on."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from typing import Any

import numpy as np

from propstick.app.replay.report import Report
from propstick.blocks import PlaceRows
from propstick.engine import minute
from propstick.engine.layout import limits_on
from propstick.engine.nights import night_of
from propstick.engine.pipeline import EngineState
from propstick.engine.places import rows_of
from propstick.engine.what_if import WhatIf, what_if
from propstick.errors import InputError
from propstick.garden import Site
from propstick.records import LidOpening
from propstick.times import at_local, hours_minutes, local_date, row_at_or_before, utc_text
from propstick.units import FloatArray, IntArray

_ASKED = re.compile(r"(?P<box>[a-z0-9-]+) +(?P<action>closed|open|propped|covered) +(?P<at>\d{1,2}:\d\d)")
OPENINGS = {"closed": 0.0, "propped": 0.1, "open": 1.0, "covered": None}
_NOON = time(12)
_CURVE_S = 300
_BY_DAY_S = 12 * 3600


@dataclass(frozen=True)
class Asked:
    """`BOX ACTION HH:MM`, the clock being that of the site."""

    box: str
    action: str
    clock: time


def asked_of(text: str, boxes: Sequence[str]) -> Asked:
    """What `--what-if` asks.

    Raises:
        InputError: another form, or a box there is none of.
    """
    match = _ASKED.fullmatch(text.strip())
    if match is None:
        raise InputError(
            f"--what-if: got {text!r}, expected BOX closed|open|propped|covered HH:MM",
            hint='--what-if "north closed 17:30"',
        )
    if match["box"] not in boxes:
        listed = ", ".join(boxes) or "none"
        raise InputError(f"--what-if: got box {match['box']!r}, expected one of {listed}")
    return Asked(match["box"], match["action"], hours_minutes(match["at"]))


def moment_of(asked: Asked, site: Site, night: date) -> int:
    """When it would have been done: between the noon before a night and the noon after it."""
    day = night if asked.clock >= _NOON else night + timedelta(days=1)
    return at_local(day, asked.clock, site.zone)


def night_asked(asked: Asked, report: Report) -> date | None:
    """The last night seen whole in which there was such a time; None without one."""
    whole = {one.date for one in report.nights if one.whole}
    site = report.garden.site
    return max((day for day in whole if moment_of(asked, site, day) < report.to_s), default=None)


def stretch_of(asked: Asked, report: Report, night: date | None) -> tuple[int, int]:
    """First and last row of what is asked about.

    The clock counts from the noon of a night to the next: of the one named, else of the last seen whole;
    without one it is the first such time recorded.

    Raises:
        InputError: the recording does not reach there.
    """
    site = report.garden.site
    if night is None:
        night = night_asked(asked, report)
    if night is None:
        day = local_date(report.from_s, site.zone)
        at_s = at_local(day, asked.clock, site.zone)
        if at_s < report.from_s:
            at_s = at_local(day + timedelta(days=1), asked.clock, site.zone)
        end_s = min(report.to_s, at_s + 2 * _BY_DAY_S)
    else:
        at_s = moment_of(asked, site, night)
        end_s = night_of(site, night).end_s
        end_s = min(report.to_s, end_s if at_s < end_s else at_s + _BY_DAY_S)
    at_s = row_at_or_before(at_s, report.garden.step_s)
    if not report.from_s <= at_s < end_s:
        raise InputError(
            f"--what-if: got {asked.clock:%H:%M}, expected a time from {utc_text(report.from_s)} "
            f"to {utc_text(report.to_s)} in the night asked about"
        )
    return at_s, row_at_or_before(end_s, report.garden.step_s)


def answer(
    asked: Asked, report: Report, *, at_s: int, end_s: int, state_before: Callable[[int], EngineState]
) -> dict[str, Any]:
    """The `what_if` object of the report.

    Args:
        state_before: The engine's state before a row.

    Raises:
        InputError: the box or the air outside was not read then, or the boxes were others.
    """
    garden = report.garden
    ahead = state_before(at_s).ahead
    if ahead is None or ahead.boxes != garden.boxes:
        raise InputError(f"--what-if: no forecast of {asked.box} ran at {utc_text(at_s)}: nothing to ask")
    time_s = np.arange(at_s, end_s + 1, garden.step_s, dtype=np.int64)
    rows = _rows(report, time_s)
    limits = limits_on(garden, local_date(at_s, garden.site.zone))
    _, minutes = minute.follow(
        ahead.minute, rows, limit_c=limits.heat_c, boxes=garden.boxes, site=garden.site
    )
    box = garden.box_names.index(asked.box)
    found = what_if(
        minutes.trace,
        box,
        at_s=at_s,
        opening=OPENINGS[asked.action],
        cover=1.0 if asked.action == "covered" else None,
        was=_as_it_was(report, asked.box, minutes.trace.time_s),
        step_s=garden.step_s,
    )
    if found is None:
        raise InputError(
            f"--what-if: got no air of {asked.box}, or none outside, after {utc_text(at_s)}; "
            "expected readings of both",
            hint="a what-if is reckoned against the air outside: it needs a probe there",
        )
    return _object(asked, at_s, found)


def _object(asked: Asked, at_s: int, found: WhatIf) -> dict[str, Any]:
    kept = np.flatnonzero((found.time_s % _CURVE_S == 0) & ~np.isnan(found.air_c))
    return {
        "box": asked.box,
        "action": asked.action,
        "at": utc_text(at_s),
        "min_c": round(found.min_c, 2),
        "low_c": round(found.low_c, 2),
        "high_c": round(found.high_c, 2),
        "max_c": round(found.max_c, 2),
        "observed_min_c": round(found.observed_min_c, 2),
        "curve": [
            {"time": utc_text(int(found.time_s[k])), "air_c": round(float(found.air_c[k]), 2)} for k in kept
        ],
    }


def _rows(report: Report, time_s: IntArray) -> PlaceRows:
    """The places on the grid, each value carried as long as its probe's own step allows."""
    boxes = report.garden.box_names

    def of(box: str, place: str) -> FloatArray:
        steps = [2 * p.every_s for p in report.garden.probes_at(box, place) if p.every_s]
        carried = report.series(box, place).carried(time_s, no_older_than_s=max(steps, default=0))
        return np.asarray(carried, dtype=np.float64)

    return rows_of(
        of,
        time_s,
        boxes,
        lid=np.stack([_steps(_known_lids(report, box), time_s) for box in boxes], axis=1),
        cover=np.stack([_covers(report, box, time_s) for box in boxes], axis=1),
        fresh=np.stack([np.isin(time_s, report.series(box, "air").row_s) for box in boxes], axis=1),
    )


def _known_lids(report: Report, box: str) -> list[tuple[int, float]]:
    return [(x.time_s, x.opening) for x in _lids(report, box) if x.known_from != "estimate"]


def _lids(report: Report, box: str) -> list[LidOpening]:
    return sorted((lid for lid in report.lids if lid.box == box), key=lambda lid: lid.time_s)


def _covers(report: Report, box: str, time_s: IntArray) -> FloatArray:
    told = sorted((c.time_s, float(c.on)) for c in report.covers if c.box == box)
    return _steps(told, time_s)


def _as_it_was(report: Report, box: str, time_s: IntArray) -> FloatArray:
    """The opening as told, shown by a contact, or judged; shut where nothing is known."""
    return np.nan_to_num(_steps([(x.time_s, x.opening) for x in _lids(report, box)], time_s))


def _steps(told: Sequence[tuple[int, float]], time_s: IntArray) -> FloatArray:
    """What held at each moment; NaN before the first."""
    if not told:
        return np.full(time_s.shape, np.nan)
    since = np.array([at for at, _ in told])
    values = np.array([np.nan, *(value for _, value in told)])
    return values[np.searchsorted(since, time_s, side="right")]
