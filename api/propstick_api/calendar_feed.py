"""The garden's dates as a calendar (RFC 5545) that any calendar program can subscribe to."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from fastapi import APIRouter, Response
from fastapi.responses import PlainTextResponse

from propstick.edges.sowings import DATES, StoredSowing
from propstick_api.deps import SiteDep

router = APIRouter(prefix="/v1", tags=["calendar"])

WORDS = {
    "sown": "sown",
    "first_up": "first seedlings",
    "half_up": "half of it up",
    "flowering": "flowering",
    "first_pick": "first pick",
    "cleared": "cleared",
}
MEDIA_TYPE = "text/calendar"


class CalendarResponse(Response):
    """For the interface's description."""

    media_type = MEDIA_TYPE


@router.get("/calendar.ics", response_class=CalendarResponse)
def calendar(site: SiteDep) -> Response:
    """Each sowing's dates, all-day. The same event keeps its UID, so that a feed can be read again."""
    return PlainTextResponse(calendar_of(site.garden.site.name, site.sowings.all()), media_type=MEDIA_TYPE)


def calendar_of(site: str, sown: list[StoredSowing]) -> bytes:
    """The calendar's text."""
    from icalendar import Calendar, Event  # 40 ms: not before somebody asks

    feed = Calendar()
    feed.add("prodid", "-//Propstick//Sowings//EN")
    feed.add("version", "2.0")
    feed.add("x-wr-calname", f"Propstick {site}")
    for sowing in sown:
        for name in DATES:
            day: date | None = getattr(sowing, name)
            if day is None:
                continue
            event = Event()
            event.add("uid", f"sowing-{sowing.id}-{name.replace('_', '-')}@{site}.propstick")
            event.add("dtstamp", datetime.fromtimestamp(sowing.made_s, UTC))
            event.add("dtstart", day)
            event.add("dtend", day + timedelta(days=1))
            event.add("summary", _printable(f"{sowing.crop}, {sowing.box}: {WORDS[name]}"))
            if sowing.note:
                event.add("description", _printable(sowing.note))
            event.add("transp", "TRANSPARENT")
            feed.add_component(event)
    return feed.to_ical()


def _printable(text: str) -> str:
    """Without the control signs that RFC 5545 does not allow in a text (section 3.3.11)."""
    return "".join(sign for sign in text if sign in "\n\t" or (sign.isprintable() or ord(sign) > 159))
