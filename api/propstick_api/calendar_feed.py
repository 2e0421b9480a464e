"""The garden's dates as a calendar (RFC 5545) that any calendar program can subscribe to."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

from fastapi import APIRouter, Response
from fastapi.responses import PlainTextResponse

from propstick.edges.sowing_fields import DATES
from propstick.edges.sowings import StoredSowing
from propstick_api.deps import ServiceDep, SiteDep

if TYPE_CHECKING:
    from icalendar import Event

    from propstick.app.season.report import Foreseen

router = APIRouter(prefix="/v1", tags=["calendar"])

WORDS = {
    "sown": "sown",
    "first_up": "first seedlings",
    "half_up": "half of it up",
    "flowering": "flowering",
    "first_pick": "first pick",
    "cleared": "cleared",
}
COMING = {
    "next-sowing": "{crop}, {box}: sow the next",
    "expected-up": "{crop}, {box}: expected up",
    "expected-pick": "{crop}, {box}: first pick expected",
}
MEDIA_TYPE = "text/calendar"


class CalendarResponse(Response):
    """For the interface's description."""

    media_type = MEDIA_TYPE


@router.get("/calendar.ics", response_class=CalendarResponse)
def calendar(service: ServiceDep, site: SiteDep) -> Response:
    """Each sowing's dates, all-day, and what is expected of it. The same event keeps its UID, so that a
    feed can be read again."""
    from propstick.app.season.report import foreseen, season_report  # only when somebody subscribes

    report = season_report(site.store, site.garden, service.now_s, garden_file=service.settings.path)
    feed = calendar_of(site.garden.site.name, site.sowings.all(), foreseen(report))
    return PlainTextResponse(feed, media_type=MEDIA_TYPE)


def calendar_of(site: str, sown: list[StoredSowing], coming: Sequence[Foreseen] = ()) -> bytes:
    """The calendar's text; `coming` are days not lived yet."""
    from icalendar import Calendar, Event  # 40 ms: not before somebody asks

    feed = Calendar()
    feed.add("prodid", "-//Propstick//Sowings//EN")
    feed.add("version", "2.0")
    feed.add("x-wr-calname", f"Propstick {site}")
    for sowing in sown:
        for name in DATES:
            day: date | None = getattr(sowing, name)
            if day is not None:
                uid = f"sowing-{sowing.id}-{name.replace('_', '-')}@{site}.propstick"
                title = f"{sowing.crop}, {sowing.box}: {WORDS[name]}"
                feed.add_component(_event(Event(), uid, sowing, day, title, sowing.note))
    for one in coming:
        uid = f"sowing-{one.batch.id}-{one.kind}@{site}.propstick"
        title = COMING[one.kind].format(crop=one.batch.crop, box=one.batch.box)
        about = f"90 %: {one.low or '?'} to {one.high or '?'}"
        feed.add_component(_event(Event(), uid, one.batch, one.day, title, about))
    return feed.to_ical()


def _event(event: Event, uid: str, sowing: StoredSowing, day: date, title: str, about: str) -> Event:
    """An all-day event. Stamped with the writing down, so that a feed read again is the same."""
    event.add("uid", uid)
    event.add("dtstamp", datetime.fromtimestamp(sowing.made_s, UTC))
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("summary", _printable(title))
    if about:
        event.add("description", _printable(about))
    event.add("transp", "TRANSPARENT")
    return event


def _printable(text: str) -> str:
    """Without the control signs that RFC 5545 does not allow in a text (section 3.3.11)."""
    return "".join(sign for sign in text if sign in "\n\t" or (sign.isprintable() or ord(sign) > 159))
