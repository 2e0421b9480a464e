"""From a report to the picture of one of its nights, or of the whole stretch where that is short."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import numpy as np

from propstick.app.replay.report import Observed, Report, places_reported
from propstick.drawing import BoxNight, Line, NightScene
from propstick.engine.nights import Night, night_of
from propstick.errors import InputError
from propstick.garden import OUTSIDE
from propstick.news import CoverTold
from propstick.records import LidOpening
from propstick.times import DAY_S, local, local_date

SHORT_S = 36 * 3600
"""A stretch this short is drawn whole."""


def scene_of(report: Report, night: date | None = None) -> NightScene:
    """What the picture shows.

    Args:
        night: The date the night begins; None: a short stretch whole, of a longer one the worst night.

    Raises:
        InputError: nothing was measured in that night.
    """
    night = drawn_night(report, night)
    if night is None:
        night_in_it = _sun_of_stretch(report)
        return _scene(
            report, report.from_s, report.to_s, night_in_it, title=_span_words(report), is_night=False
        )
    tonight = night_of(report.garden.site, night)
    if tonight.end_s < report.from_s or tonight.start_s > report.to_s:
        raise InputError(
            f"--chart: got the night of {night.isoformat()}, expected one from "
            f"{local_date(report.from_s, report.garden.site.zone)} to "
            f"{local_date(report.to_s, report.garden.site.zone)}"
        )
    title = f"Night of {night.day} {night:%B %Y}"
    return _scene(report, tonight.start_s, tonight.end_s, tonight, title=title, is_night=True)


def drawn_night(report: Report, night: date | None) -> date | None:
    """The night to show: the one asked for, else that of the what-if, else the worst.

    None where the stretch is short enough whole.
    """
    if night is not None or report.to_s - report.from_s <= SHORT_S:
        return night
    if report.what_if is not None:
        at_s = datetime.fromisoformat(report.what_if["at"]).timestamp()
        return local_date(at_s - DAY_S // 2, report.garden.site.zone)  # a night is asked about from its noon
    return worst_night(report)


def worst_night(report: Report) -> date:
    """The night that came closest to (or furthest below) a box's frost limit."""
    known = [one for one in report.nights if one.value_c is not None]
    if not known:
        raise InputError("--chart: got no night with a reading, expected at least one")

    def room_c(one: Observed) -> float:
        return (one.value_c or 0.0) - (_limits(report, one.box, one.date)[0] or 0.0)

    return min(known, key=lambda one: (room_c(one), one.date)).date


def _limits(report: Report, box: str, day: date) -> tuple[float | None, float | None]:
    if box == OUTSIDE:
        return None, None
    limits = report.garden.limits_for(box, day)
    return limits.frost_c, limits.heat_c


def _sun_of_stretch(report: Report) -> Night | None:
    """The night that lies in the stretch, if any part of it does."""
    site = report.garden.site
    first = local_date(report.from_s, site.zone) - timedelta(days=1)
    nights = [night_of(site, first + timedelta(days=k)) for k in range(4)]

    def shared_s(night: Night) -> int:
        return min(night.sunrise_s, report.to_s) - max(night.sunset_s, report.from_s)

    best = max(nights, key=shared_s)
    return best if shared_s(best) > 0 else None


def _span_words(report: Report) -> str:
    first, last = (local(at, report.garden.site.zone) for at in (report.from_s, report.to_s))
    if first.date() == last.date():
        return f"{first.day} {first:%B %Y}"
    same_month = (first.year, first.month) == (last.year, last.month)
    return f"{first.day}{'' if same_month else f' {first:%B}'} to {last.day} {last:%B %Y}"


def _scene(
    report: Report, start_s: int, end_s: int, night: Night | None, *, title: str, is_night: bool
) -> NightScene:
    site = report.garden.site
    by_sun = night is not None and night.by_sun
    return NightScene(
        title=title,
        site=site.name,
        start_s=start_s,
        end_s=end_s,
        unit=site.unit,
        zone=site.zone,
        twelve_hour=report.garden.twelve_hour,
        decimal_sign=report.garden.decimal_sign,
        sunset_s=night.sunset_s if night and by_sun else None,
        sunrise_s=night.sunrise_s if night and by_sun else None,
        outside=_line(report, OUTSIDE, "air", start_s, end_s),
        boxes=tuple(
            _box(report, box, start_s, end_s, is_night=is_night) for box in places_reported(report.garden)
        ),
        notices=tuple(n for n in report.notices if start_s <= n.issued_s <= end_s),
    )


def _which_worst(air: Line, frost_c: float | None, heat_c: float | None, *, is_night: bool) -> str:
    """Of a night the lowest minute matters; of another stretch the one that went over its limit."""
    if is_night or not len(air):
        return "lowest"
    if frost_c is not None and float(air.value_c.min()) < frost_c:
        return "lowest"
    return "highest" if heat_c is not None and float(air.value_c.max()) > heat_c else "lowest"


def _box(report: Report, box: str, start_s: int, end_s: int, *, is_night: bool) -> BoxNight:
    air = _line(report, box, "air", start_s, end_s)
    frost_c, heat_c = _limits(report, box, local_date(start_s, report.garden.site.zone))
    worst_is = _which_worst(air, frost_c, heat_c, is_night=is_night)
    find = np.argmin if worst_is == "lowest" else np.argmax
    at = int(find(air.value_c)) if len(air) else None
    return BoxNight(
        name=box,
        air=air,
        soil=_line(report, box, "soil", start_s, end_s),
        frost_c=frost_c,
        heat_c=heat_c,
        worst_c=None if at is None else float(air.value_c[at]),
        worst_s=None if at is None else int(air.row_s[at]),
        worst_is=worst_is,
        **_otherwise(report, box, start_s, end_s),
        forecasts=tuple(f for f in report.night_forecasts if f.box == box and start_s <= f.issued_s <= end_s),
        lids=_lids(report, box, start_s, end_s),
        covers=_covers(report, box, end_s),
        alarms=tuple(
            a
            for a in report.alarms
            if a.box == box and a.raised_s <= end_s and (a.returned_s is None or a.returned_s >= start_s)
        ),
    )


def _otherwise(report: Report, box: str, start_s: int, end_s: int) -> dict[str, Any]:
    found = report.what_if
    if found is None or found["box"] != box:
        return {}
    times = np.array([int(datetime.fromisoformat(one["time"]).timestamp()) for one in found["curve"]])
    values = np.array([one["air_c"] for one in found["curve"]])
    inside = (times >= start_s) & (times <= end_s)
    gap_s = _line(report, box, "air", start_s, end_s).gap_s
    return {
        "otherwise": Line(times[inside], values[inside], gap_s=gap_s),
        "otherwise_words": found["action"],
    }


def _line(report: Report, box: str, place: str, start_s: int, end_s: int) -> Line:
    part = report.series(box, place).between(start_s, end_s)
    steps = [p.every_s for p in report.garden.probes_at(box, place) if p.every_s]
    gap_s = max(900.0, 2.1 * max(steps, default=0.0), 5.0 * report.garden.step_s)
    return Line(part.row_s, part.value, gap_s=gap_s)


def _lids(report: Report, box: str, start_s: int, end_s: int) -> tuple[LidOpening, ...]:
    """Openings inside the picture, and the last one before: not long past, or still told by a contact."""
    mine = sorted(
        (lid for lid in report.lids if lid.box == box and lid.time_s <= end_s), key=lambda x: x.time_s
    )
    before = [lid for lid in mine if lid.time_s < start_s][-1:]
    if before and before[0].time_s < start_s - 2 * DAY_S:
        contact_tells = len(report.series(box, "lid").between(start_s, end_s)) > 0
        before = before if before[0].known_from == "contact" and contact_tells else []
    return (*before, *(lid for lid in mine if lid.time_s >= start_s))


def _covers(report: Report, box: str, end_s: int) -> tuple[CoverTold, ...]:
    told = (c for c in report.covers if c.box == box and c.time_s <= end_s)
    return tuple(sorted(told, key=lambda c: c.time_s))
