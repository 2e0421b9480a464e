"""Completes the watch's live view with what is forecast, advised, sown and asked for."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING, Any

from propstick.edges.sowings import StoredSowing
from propstick.records import Brief, DayForecast, HeatForecast, NightForecast
from propstick.times import DAY_S, local_date, utc_text

if TYPE_CHECKING:
    from propstick_api.deps import Site

BRIEF_COUNTS_S = 18 * 3600
HEAT_COUNTS_S = 900
LONGEST_ROOM_MINUTES = 180
"""A slope says nothing of a time further off."""


def completed(status: dict[str, Any], site: Site) -> dict[str, Any]:
    """The object of `GET /v1/now` from what the watch wrote with its last row."""
    garden = site.garden
    row_s = int(datetime.fromisoformat(status["time"]).timestamp())
    zone = garden.site.zone
    heat = _latest(site.journal.issued("heat", row_s - HEAT_COUNTS_S, row_s + 1))
    nights = _latest(site.journal.issued("nights", row_s - DAY_S, row_s + 1))
    days = _days(site.journal.issued("days", row_s - DAY_S, row_s + 1))
    briefs = site.journal.briefs(row_s - BRIEF_COUNTS_S, row_s + 1)
    sown = site.sowings.all()
    today = local_date(row_s, zone)
    boxes = []
    for box in status["boxes"]:
        name = box["box"]
        _age(box, row_s)
        boxes.append(
            {
                **box,
                "room": _room(box, nights.get(name)),
                "forecast": {
                    "heat": _json(heat.get(name)),
                    "night": None if name not in nights else _night(nights[name]),
                    "day": [f.to_json() for f in days.get(name, ())],
                },
                "advice": _advice(briefs, name),
                "sowings": [
                    _standing(s) for s in sown if s.box == name and (s.cleared is None or s.cleared > today)
                ],
            }
        )
    outside = status["outside"]
    if outside is not None:
        _age(outside, row_s)
    return {
        "site": status["site"],
        "time": status["time"],
        "step_s": status["step_s"],
        "unit": garden.site.unit,
        "zone": zone,
        "boxes": boxes,
        "outside": outside,
        "alarms": status["alarms"],
        "brief": briefs[-1].to_json() if briefs else None,
        "asked": [
            {"id": r.id, "kind": r.kind, "body": r.body, "made": utc_text(r.made_s)}
            for r in site.requests.pending()[-50:]
        ],
        "troubles": status.get("troubles", []),
    }


def _age(box: dict[str, Any], row_s: int) -> None:
    """Says of each value how old it was at the row; a slope has no more digits than it has meaning."""
    for place in ("air", "soil", "humidity"):
        read = box[place]["read"]
        at_s = None if read is None else datetime.fromisoformat(read).timestamp()
        rise = box[place]["rise_per_h"]
        box[place]["rise_per_h"] = None if rise is None else round(rise, 2)
        box[place]["age_s"] = None if at_s is None else max(0, round(row_s - at_s))


def _room(box: dict[str, Any], night: NightForecast | None) -> dict[str, Any]:
    """How far the air is from each limit, in degrees and, as it moves now, in minutes."""
    air, rise, limits = box["air"]["value"], box["air"]["rise_per_h"], box["limits"]
    frost_c = limits["frost_c"]
    tonight = night.to_json()["min_c"] if night is not None else None
    return {
        "heat": _room_to(limits["heat_c"], air, rise, is_above=True),
        "prop": _room_to(limits["prop_c"], air, rise, is_above=True),
        "frost": {
            **_room_to(frost_c, air, rise, is_above=False),
            "tonight_c": None if frost_c is None or tonight is None else round(tonight - frost_c, 2),
        },
    }


def _room_to(limit: float | None, air: float | None, rise: float | None, *, is_above: bool) -> dict[str, Any]:
    if limit is None or air is None:
        return {"c": None, "minutes": None}
    room_c = round((limit - air) if is_above else (air - limit), 2)
    towards = None if rise is None else (rise if is_above else -rise)
    if room_c <= 0:
        return {"c": room_c, "minutes": 0}
    if towards is None or towards <= 0.05:
        return {"c": room_c, "minutes": None}
    minutes = round(60 * room_c / towards)
    return {"c": room_c, "minutes": minutes if minutes <= LONGEST_ROOM_MINUTES else None}


def _latest(issued: Iterable[Any]) -> dict[str, Any]:
    """The newest of each box; they come oldest first."""
    return {one.box: one for one in issued}


def _days(issued: tuple[DayForecast, ...]) -> dict[str, list[DayForecast]]:
    newest: dict[str, list[DayForecast]] = {}
    for one in issued:
        mine = newest.setdefault(one.box, [])
        if mine and mine[0].issued_s != one.issued_s:
            mine.clear()
        mine.append(one)
    return newest


def _json(forecast: HeatForecast | None) -> dict[str, Any] | None:
    return None if forecast is None else forecast.to_json()


def _night(forecast: NightForecast) -> dict[str, Any]:
    return {"night": forecast.night.isoformat(), **forecast.to_json()}


def _advice(briefs: tuple[Brief, ...], box: str) -> dict[str, Any] | None:
    """What the newest brief says of the box."""
    for brief in reversed(briefs):
        for line in brief.lines:
            if line.box == box:
                return {**line.to_json(), "issued": utc_text(brief.issued_s), "which": brief.which}
    return None


def _standing(sowing: StoredSowing) -> dict[str, Any]:
    return {key: sowing.to_json()[key] for key in ("id", "crop", "sown", "first_up", "first_pick")}
