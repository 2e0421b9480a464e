"""`/season`: warmth gathered inside against outside, hours too hot or too cold, what warnings were worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from propstick.drawing.season import SowingPoint, Warmth, season_picture
from propstick.errors import ConfigError
from propstick.garden import OUTSIDE
from propstick.growing.warmth import BASE_C
from propstick.units import Unit, shown_difference
from propstick_api.deps import Service, ServiceDep, Site, SiteDep
from propstick_api.page import words
from propstick_api.page.layout import page, table
from propstick_api.page.markup import Safe, join, tag
from propstick_api.page.reading import Reading
from propstick_api.page.sight import Language
from propstick_api.season import DEFAULT_DAYS, season_of
from propstick_api.spans import day_span

if TYPE_CHECKING:
    from propstick.app.season.contents import Part
    from propstick.app.season.report import SeasonReport

router = APIRouter()


@router.get("/season")
def season(service: ServiceDep, site: SiteDep, language: Language = "") -> HTMLResponse:
    """The season from the day its outlook is counted from."""
    garden = site.garden
    reading, unit = Reading(garden, accept_language=language), garden.site.unit
    report = _report(service, site)
    first, last = day_span(
        None if isinstance(report, ConfigError) else report.since, None,
        zone_name=garden.site.zone, now_s=service.now_s, default_days=DEFAULT_DAYS,
    )  # fmt: skip
    shown = season_of(site, garden, first, last, base_c=BASE_C)
    title = words.SEASON_TITLE.format(first=reading.day(first), last=reading.day(last))
    base = reading.limit(shown["base_c"])
    caption = words.SEASON_WARMTH.format(base=base)
    body = join(
        tag("h1", title),
        tag("figure", Safe(_picture(shown, unit, caption)), tag("figcaption", caption), class_="night"),
        _outlook(report, reading),
        table(words.SEASON_TABLE, list(words.SEASON_HEADS), _rows(shown, reading, unit)),
        tag("p", words.SEASON_UNITS.format(unit=reading.unit, base=base), " ", words.SAVED, class_="quiet"),
        _sowings(shown, reading, unit),
    )
    return page(title, body, here="/season")


def _report(service: Service, site: Site) -> SeasonReport | ConfigError:
    """The outlook, or why the person's own crop file cannot be used for one."""
    from propstick.app.season.report import season_report  # only when somebody asks

    try:
        return season_report(site.store, site.garden, service.now_s, garden_file=service.settings.path)
    except ConfigError as refused:
        return refused


def _outlook(report: SeasonReport | ConfigError, reading: Reading) -> Safe:
    """What the grower asks in spring: the same parts as the season's report, in the same words."""
    from propstick.app.season.contents import contents

    if isinstance(report, ConfigError):
        return tag("p", report.message, role="alert")
    parts = contents(replace(report, decimal_sign=reading.decimal_sign))[1:]  # the page has its own title
    return tag("section", *(_part(parts, k) for k in range(len(parts))))


def _part(parts: Sequence[Part], k: int) -> Safe | None:
    """A heading right before a table is the table's own, and stands there once."""
    from propstick.app.season.contents import Grid, Heading, Points

    part = parts[k]
    if isinstance(part, Heading):
        return None if isinstance(parts[k + 1], Grid) else tag("h2", part.text)
    if isinstance(part, Grid):
        above = parts[k - 1]
        assert isinstance(above, Heading)
        return table(above.text, list(part.heads), [list(row) for row in part.rows], is_section=True)
    if isinstance(part, Points):
        return tag("ul", *(tag("li", text) for text in part.texts))
    about = tag("strong", f"{part.about}: ") if part.about else None
    return tag("p", about, part.text, class_="quiet" if part.quiet else None)


def _places(shown: dict[str, Any]) -> list[dict[str, Any]]:
    """Boxes, the warmest first, and the open ground after them."""
    boxes = sorted(shown["boxes"], key=lambda b: b["warmth"][-1] or 0.0, reverse=True)
    return [*boxes, *([shown["outside"]] if shown["outside"] else [])]


def _picture(shown: dict[str, Any], unit: Unit, caption: str) -> str:
    begin = _first_known(shown)
    curves = [
        Warmth(
            name=words.OUTSIDE.lower() if one["box"] == OUTSIDE else one["box"],
            by_day=[None if v is None else shown_difference(v, unit) for v in one["warmth"][begin:]],
            is_outside=one["box"] == OUTSIDE,
        )
        for one in _places(shown)
    ]
    days = [date.fromisoformat(day) for day in shown["days"]]
    points = [
        SowingPoint(
            name=one["crop"],
            curve=one["box"],
            day=(date.fromisoformat(one["sown"]) - days[begin]).days,
            warmth=shown_difference(one["warmth_at_sowing"], unit),
        )
        for one in shown["sowings"]
        if one["warmth_at_sowing"] is not None and date.fromisoformat(one["sown"]) >= days[begin]
    ]
    return season_picture(days[begin:], curves, points, words=caption)


def _first_known(shown: dict[str, Any]) -> int:
    """The day before the first warmth anywhere: nothing is seen before that."""
    gained = [k for one in _places(shown) for k, v in enumerate(one["warmth"]) if v]
    return max(min(gained, default=0) - 1, 0)


def _rows(shown: dict[str, Any], reading: Reading, unit: Unit) -> list[list[str]]:
    def sum_of(value_c: float | None) -> str:
        return words.UNKNOWN if value_c is None else reading.number(shown_difference(value_c, unit), digits=0)

    def count(value: int | None) -> str:
        return "–" if value is None else str(value)

    return [
        [
            words.SPOT.format(box=one["box"], spot=one["spot"]) if one["spot"] else one["box"],
            sum_of(one["warmth"][-1]),
            "–" if one["box"] == OUTSIDE else sum_of(one["too_hot_degree_hours"]),
            "–" if one["box"] == OUTSIDE else sum_of(one["too_cold_degree_hours"]),
            count(one["nights_saved"]),
            count(one["nights_below_limit"]),
        ]
        for one in _places(shown)
    ]


def _sowings(shown: dict[str, Any], reading: Reading, unit: Unit) -> Safe | None:
    rows = [
        [
            one["crop"],
            one["box"],
            words.UNKNOWN if one["sown"] is None else reading.day(one["sown"]),
            words.UNKNOWN
            if one["warmth_since"] is None
            else reading.number(shown_difference(one["warmth_since"], unit), digits=0),
        ]
        for one in shown["sowings"]
    ]
    return table(words.SOWINGS_TABLE, list(words.SOWING_HEADS), rows) if rows else None
