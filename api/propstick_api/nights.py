"""Nights: which there were, one as it was lived, its picture and its readings."""

from __future__ import annotations

import io
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Path, Query, Response
from starlette.exceptions import HTTPException

from propstick.app.moments import in_years
from propstick.edges.export import column_names, write_csv, write_senml
from propstick.engine.nights import night_of
from propstick.errors import ConfigError, InputError
from propstick.garden import OUTSIDE, Garden
from propstick.records import NightForecast
from propstick.times import DAY_S, utc_text
from propstick_api.deps import Service, ServiceDep, Site, SiteDep
from propstick_api.extremes import Book, night_lows
from propstick_api.schemas import Out
from propstick_api.spans import day_span

if TYPE_CHECKING:
    from propstick.app.replay.report import Report

# What reads and draws a night is imported when one is asked for: until then it would only take memory.

router = APIRouter(prefix="/v1/nights", tags=["nights"])

MOST_ROWS = 1000
"""Of a curve in a night's object; a grid of seconds is thinned."""
MEDIA_TYPES = {"csv": "text/csv", "senml": "application/senml+json"}
TOLD_BEFORE_S = 2 * DAY_S
"""A lid told of so long before a night may still stand so in it."""


class NightBoxOut(Out):
    """What a night was in one box, and what was said of it first and last."""

    box: str
    observed_min_c: float | None
    observed_min_hour: str | None
    first: dict | None
    last: dict | None


class NightOut(Out):
    """One night in the list."""

    night: str
    start: str
    end: str
    boxes: list[NightBoxOut]


class NightsOut(Out):
    """Newest first."""

    nights: list[NightOut]


class CurveOut(Out):
    """What a place measured, row by row."""

    box: str
    place: str
    time: list[str]
    value: list[float]


class LivedOut(Out):
    """A night: the object of `propstick replay --json`, with curves, limits and the sun beside it."""

    night: str
    start: str
    end: str
    sunset: str | None
    sunrise: str | None
    limits: dict[str, dict[str, float | None]]
    curves: list[CurveOut]
    alarms: list[dict]
    notices: list[dict]
    briefs: list[dict]
    nights: list[dict]
    lids: list[dict]
    what_if: dict | None = None


NightDate = Annotated[date, Path(description="The date it begins", examples=["2026-04-12"])]


@router.get("")
def nights(
    service: ServiceDep,
    site: SiteDep,
    begin: Annotated[date | None, Query(alias="from", examples=["2026-04-01"])] = None,
    end: Annotated[date | None, Query(alias="to", examples=["2026-04-30"])] = None,
) -> NightsOut:
    """The nights that were watched; the last thirty by default. A night is named by the date it begins."""
    garden = site.garden
    first, last = day_span(begin, end, zone_name=garden.site.zone, now_s=service.now_s, default_days=30)
    return NightsOut(nights=[NightOut(**one) for one in nights_between(site, garden, first, last)])


@router.get("/{day}")
def night(
    day: NightDate,
    service: ServiceDep,
    site: SiteDep,
    what_if: Annotated[str | None, Query(max_length=80, examples=["north closed 16:30"])] = None,
) -> LivedOut:
    """One night as it was lived: forecasts, alarms, notices and briefs as they were issued.

    With `what_if` also the curve and the minimum with another lid or cover from that moment on.
    """
    night = in_years(day, what="date")
    report = _report(site, night)
    if what_if is not None:
        report = _otherwise(service, site, report, night, what_if)
    return LivedOut(**lived(report, night))


@router.get(
    "/{day}/picture.svg", response_class=Response, responses={200: {"content": {"image/svg+xml": {}}}}
)
def picture(day: NightDate, site: SiteDep) -> Response:
    """The night as one picture, the same that `propstick replay --chart` draws."""
    return Response(_picture(site, in_years(day, what="date")), media_type="image/svg+xml")


@router.get("/{day}/picture.png", response_class=Response, responses={200: {"content": {"image/png": {}}}})
def pixels(day: NightDate, site: SiteDep) -> Response:
    """The same in pixels, where the extra `png` is installed; 404 where it is not."""
    from propstick.app.render import png

    svg = _picture(site, in_years(day, what="date"))
    try:
        return Response(png(svg), media_type="image/png")
    except ConfigError as error:
        raise HTTPException(404, error.message) from None


@router.get(
    "/{day}/readings.csv", response_class=Response, responses={200: {"content": {MEDIA_TYPES["csv"]: {}}}}
)
def readings_csv(day: NightDate, site: SiteDep) -> Response:
    """The night's raw readings as a recording."""
    return _readings(site, in_years(day, what="date"), "csv")


@router.get(
    "/{day}/readings.senml", response_class=Response, responses={200: {"content": {MEDIA_TYPES["senml"]: {}}}}
)
def readings_senml(day: NightDate, site: SiteDep) -> Response:
    """The same as SenML (RFC 8428)."""
    return _readings(site, in_years(day, what="date"), "senml")


def nights_between(site: Site, garden: Garden, first: date, last: date) -> list[dict[str, Any]]:
    """Nights with an observed minimum or a forecast, newest first."""
    begin_s = night_of(garden.site, first).start_s - DAY_S
    end_s = night_of(garden.site, last).end_s + 2 * DAY_S
    observed = night_lows(site, garden, first, last)
    said: dict[tuple[date, str], list[NightForecast]] = {}
    for forecast in site.journal.issued("nights", begin_s, end_s):
        said.setdefault((forecast.night, forecast.box), []).append(forecast)
    days = sorted({day for day, _ in (*observed, *said) if first <= day <= last}, reverse=True)
    order = (*garden.box_names, OUTSIDE)
    return [_night_row(garden, day, order, observed, said) for day in days]


def _night_row(
    garden: Garden,
    day: date,
    order: tuple[str, ...],
    observed: Book,
    said: dict[tuple[date, str], list[NightForecast]],
) -> dict[str, Any]:
    tonight = night_of(garden.site, day)
    boxes = []
    for box in order:
        extreme, forecasts = observed.get((day, box)), said.get((day, box), [])
        if extreme is None and not forecasts:
            continue
        boxes.append(
            {
                "box": box,
                "observed_min_c": None if extreme is None else extreme.value_c,
                "observed_min_hour": None if extreme is None else utc_text(extreme.hour_s),
                "first": forecasts[0].to_json() if forecasts else None,
                "last": forecasts[-1].to_json() if forecasts else None,
            }
        )
    return {
        "night": day.isoformat(),
        "start": utc_text(tonight.start_s),
        "end": utc_text(tonight.end_s),
        "boxes": boxes,
    }


def lived(report: Report, night: date) -> dict[str, Any]:
    """A night's object."""
    from propstick.app.replay.report import places_reported

    tonight = night_of(report.garden.site, night)
    boxes = places_reported(report.garden)
    shown = (*boxes, *(() if OUTSIDE in boxes else (OUTSIDE,)))
    limits = {box: report.garden.limits_for(box, night) for box in boxes if box != OUTSIDE}
    return {
        **report.to_json(),
        "night": night.isoformat(),
        "start": utc_text(tonight.start_s),
        "end": utc_text(tonight.end_s),
        "sunset": utc_text(tonight.sunset_s) if tonight.by_sun else None,
        "sunrise": utc_text(tonight.sunrise_s) if tonight.by_sun else None,
        "limits": {box: {"frost_c": one.frost_c, "heat_c": one.heat_c} for box, one in limits.items()},
        "curves": [
            curve
            for box in shown
            for place in ("air", "soil")
            if (curve := _curve(report, box, place)) is not None
        ],
    }


def _curve(report: Report, box: str, place: str) -> dict[str, Any] | None:
    series = report.series(box, place)
    if not len(series):
        return None
    every = -(-len(series) // MOST_ROWS)
    return {
        "box": box,
        "place": place,
        "time": [utc_text(row_s) for row_s in series.row_s[::every].tolist()],
        "value": series.value[::every].tolist(),
    }


def _report(site: Site, night: date) -> Report:
    from propstick.app.replay.lived_night import lived_night

    try:
        return lived_night(site.store, site.garden, night)
    except InputError as error:
        raise HTTPException(404, error.message) from None


def _otherwise(service: Service, site: Site, report: Report, night: date, text: str) -> Report:
    from propstick_api.what_if import otherwise

    try:
        return otherwise(service, site, report, night, text).report
    except InputError as error:
        raise HTTPException(422, f"what_if: {error.message}") from None


def _picture(site: Site, night: date) -> str:
    from propstick.app.replay.scene import scene_of
    from propstick.drawing import night_picture

    return night_picture(scene_of(_report(site, night), night))


def _readings(site: Site, night: date, kind: str) -> Response:
    garden = site.garden
    tonight = night_of(garden.site, night)
    span = {"from_ms": tonight.start_s * 1000, "to_ms": tonight.end_s * 1000 + 1}
    out = io.StringIO()
    names = column_names(garden)
    if kind == "csv":
        told = site.journal.news_between(tonight.start_s - TOLD_BEFORE_S, tonight.end_s)
        done = write_csv(site.readings, out, names=names, told=told, **span)
    else:
        done = write_senml(site.readings, out, names=names, **span)
    if not done.readings:
        raise HTTPException(404, f"night {night.isoformat()}: nothing is stored of it")
    file = f"{night.isoformat()}.{'csv' if kind == 'csv' else 'senml.json'}"
    headers = {"Content-Disposition": f'attachment; filename="{file}"'}
    return Response(out.getvalue(), media_type=MEDIA_TYPES[kind], headers=headers)
