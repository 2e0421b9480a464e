"""`/nights` and one night: its picture, its worst minute in words, what happened, what would have been."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from fastapi.responses import HTMLResponse

from propstick.errors import InputError
from propstick.garden import OUTSIDE
from propstick_api import nights
from propstick_api.deps import ServiceDep, Site, SiteDep
from propstick_api.page import words
from propstick_api.page.beside import Chosen, beside_form, figures, lived_report, night_date, options
from propstick_api.page.layout import NIGHT_SCRIPT, page, table
from propstick_api.page.markup import Safe, join, tag
from propstick_api.page.reading import Reading
from propstick_api.page.sight import Language
from propstick_api.spans import day_span
from propstick_api.what_if import Otherwise, otherwise

router = APIRouter()

LISTED_DAYS = 60


@router.get("/nights")
def night_list(service: ServiceDep, site: SiteDep, language: Language = "") -> HTMLResponse:
    """The nights of the last two months."""
    garden = site.garden
    reading = Reading(garden, accept_language=language)
    first, last = day_span(
        None, None, zone_name=garden.site.zone, now_s=service.now_s, default_days=LISTED_DAYS
    )
    found = nights.nights_between(site, garden, first, last)
    if not found:
        return page(words.NIGHTS, tag("h1", words.NO_NIGHTS), here="/nights")
    rows = [_row(one, reading) for one in found]
    body = join(
        tag("h1", words.NIGHTS),
        tag("p", words.NIGHTS_LEAD),
        table(words.NIGHTS, list(words.NIGHTS_HEADS), rows),
    )
    return page(words.NIGHTS, body, here="/nights")


@router.get("/night/{day}")
def one_night(
    day: Annotated[str, Path(max_length=20)],
    service: ServiceDep,
    site: SiteDep,
    language: Language = "",
    show: Annotated[str, Query(max_length=60, description="Only this box")] = "",
    beside: Annotated[str, Query(max_length=60, description="Another box, or another night")] = "",
    box: Annotated[str, Query(max_length=60)] = "",
    action: Annotated[str, Query(max_length=20)] = "",
    at: Annotated[str, Query(max_length=5)] = "",
) -> HTMLResponse:
    """One night as it was lived."""
    reading = Reading(site.garden, accept_language=language)
    said, asked, chosen = "", None, Chosen(show, beside)
    try:
        night = night_date(day)
        report = lived_report(site, night)
    except InputError as error:
        return _none(error)
    if box and action and at:
        try:
            asked = otherwise(service, site, report, night, f"{box} {action} {at}")
        except InputError as error:
            said = error.message
    told = report if asked is None else asked.report
    shown = nights.lived(told, night)
    title = words.NIGHT_OF.format(day=reading.day(night))
    pictures = figures(told, site, night, chosen, decimal_sign=reading.decimal_sign)
    body = join(
        tag("h1", title),
        tag("ul", *(tag("li", line) for line in worst_words(shown, reading)), class_="worst"),
        _what_if_form(site, box, action, at, said or _answer(asked, reading), chosen),
        tag("div", *pictures, class_="beside"),
        beside_form(site, night, chosen),
        _events(shown, reading),
        _downloads(night),
        tag("p", tag("a", words.BACK_TO_NIGHTS, href="/nights")),
    )
    return page(title, body, script=NIGHT_SCRIPT)


def worst_words(shown: dict[str, Any], reading: Reading) -> list[str]:
    """The coldest minute of each box, and how it lay to the limit."""
    lines = []
    for curve in shown["curves"]:
        if curve["place"] != "air":
            continue
        box = curve["box"]
        inside = [
            (value, when)
            for when, value in zip(curve["time"], curve["value"], strict=True)
            if shown["start"] <= when <= shown["end"]
        ]
        if not inside:
            lines.append(words.NOT_MEASURED.format(box=box))
            continue
        value, when = min(inside)
        limit = shown["limits"].get(box, {}).get("frost_c")
        beyond = ""
        if limit is not None:
            beyond = (words.WORST_BELOW if value < limit else words.WORST_ABOVE).format(
                room=reading.difference(value - limit), limit=reading.limit(limit)
            )
        lines.append(
            words.WORST.format(
                place=words.OUTSIDE.lower() if box == OUTSIDE else words.WORST_IN.format(box=box),
                value=reading.degrees(value),
                clock=reading.clock(when),
                beyond=beyond,
            )
        )
    return lines


def _row(one: dict[str, Any], reading: Reading) -> list[str]:
    inside = [b for b in one["boxes"] if b["box"] != OUTSIDE and b["observed_min_c"] is not None]
    outside = next((b for b in one["boxes"] if b["box"] == OUTSIDE), None)
    coldest = min(inside, key=lambda b: b["observed_min_c"], default=None)
    first = coldest and coldest["first"]
    return [
        tag("a", reading.day(one["night"]), href=f"/night/{one['night']}"),
        words.NONE
        if coldest is None
        else words.LOWEST_IN.format(value=reading.degrees(coldest["observed_min_c"]), box=coldest["box"]),
        reading.degrees(None if outside is None else outside["observed_min_c"]),
        "–"
        if not first
        else words.SAID_FOR.format(
            value=reading.degrees(first["min_c"]),
            low=reading.degrees(first["low_c"]),
            high=reading.degrees(first["high_c"]),
            box=coldest["box"],
        ),
    ]


def _none(error: InputError) -> HTMLResponse:
    said = error.message
    body = join(
        tag("h1", words.NO_NIGHT), tag("p", said), tag("p", tag("a", words.BACK_TO_NIGHTS, href="/nights"))
    )
    return page(words.NO_NIGHT, body, status=404)


def _answer(asked: Otherwise | None, reading: Reading) -> str:
    if asked is None:
        return ""
    found = asked.found
    return words.IF_ANSWER.format(
        box=found["box"],
        action=words.IF_ACTIONS[found["action"]],
        clock=reading.clock(found["at"]),
        value=reading.degrees(found["min_c"]),
        low=reading.degrees(found["low_c"]),
        high=reading.degrees(found["high_c"]),
        observed=reading.degrees(found["observed_min_c"]),
    )


def _what_if_form(site: Site, box: str, action: str, at: str, said: str, chosen: Chosen) -> Safe:
    shown = chosen.boxes(site.garden.box_names) or site.garden.box_names
    boxes = options(site.garden.box_names, box or shown[0])
    actions = [
        tag("option", word, value=key, selected=key == action) for key, word in words.IF_ACTIONS.items()
    ]
    fields = [
        tag("label", words.IF_BOX, tag("select", *boxes, name="box")),
        tag("label", words.IF_ACTION, tag("select", *actions, name="action")),
        tag("label", words.IF_AT, tag("input", type="time", name="at", value=at or "21:00", required=True)),
        tag("button", words.IF_ASK, id="what-if-ask"),
        *(
            tag("input", type="hidden", name=name, value=value)
            for name, value in (("show", chosen.show), ("beside", chosen.beside))
            if value
        ),
    ]
    form = tag("form", *fields, class_="ask", id="what-if", data_handle=words.IF_HANDLE)
    answer = tag("p", said, role="status", class_="advice") if said else None
    return tag("section", tag("h2", words.WHAT_IF), form, answer)


def _events(shown: dict[str, Any], reading: Reading) -> Safe:
    found = [(a["raised"], words.EVENT_ALARM, a["message"] or a["kind"]) for a in shown["alarms"]]
    found += [(n["issued"], words.EVENT_NOTICE, n["text"]) for n in shown["notices"]]
    if not found:
        return tag("section", tag("h2", words.HAPPENED), tag("p", words.NOTHING_HAPPENED))
    rows = [[reading.clock(when), what, text[:1].upper() + text[1:]] for when, what, text in sorted(found)]
    happened = table(words.HAPPENED, list(words.EVENT_HEADS), rows, is_section=True)
    return tag("section", happened)


def _downloads(night: date) -> Safe:
    links = [
        tag("a", word, href=f"/v1/nights/{night.isoformat()}/{name}")
        for name, word in words.DOWNLOADS.items()
    ]
    return tag("section", tag("h2", words.DOWNLOAD), tag("div", *links, class_="downloads"))
