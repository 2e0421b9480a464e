"""The calendar, read by an independent parser (icalendar) and against RFC 5545."""

from datetime import date

import icalendar

from propstick.app.season.report import Foreseen
from propstick.edges.sowings import StoredSowing
from propstick_api.calendar_feed import calendar_of


def test_each_date_of_a_sowing_is_an_all_day_event(client):
    """The end of an all-day event is the day after it (RFC 5545, section 3.6.1)."""
    answer = client.get("/v1/calendar.ics")
    assert answer.headers["content-type"].startswith("text/calendar")
    feed = icalendar.Calendar.from_ical(answer.content)
    lettuce, radish = feed.walk("VEVENT")
    assert (lettuce["SUMMARY"], lettuce.decoded("DTSTART"), lettuce.decoded("DTEND")) == (
        "lettuce, north: sown", date(2026, 4, 1), date(2026, 4, 2),
    )  # fmt: skip
    assert radish["SUMMARY"] == "radish, outside: sown"


def test_an_event_keeps_its_uid(client):
    """Section 3.8.4.7: read again, the feed makes no second event."""
    first, second = client.get("/v1/calendar.ics").content, client.get("/v1/calendar.ics").content
    assert first == second
    uids = [e["UID"] for e in icalendar.Calendar.from_ical(first).walk("VEVENT")]
    assert len(set(uids)) == len(uids) == 2


def test_lines_are_folded_and_text_is_escaped():
    """Sections 3.1 and 3.3.11: at most 75 octets a line, CRLF, no control signs; and all comes back."""
    note = "rows; of, three\nand ñandú " + "x" * 200 + "\x07"
    text = calendar_of("plot", [StoredSowing(id=1, made_s=0, crop="kale", box="north",
                                             sown=date(2026, 3, 1), note=note)])  # fmt: skip
    assert all(len(line) <= 75 for line in text.split(b"\r\n"))
    assert b"\x07" not in text
    (event,) = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert event["DESCRIPTION"] == note[:-1]


def test_what_is_to_come_stands_beside_what_was():
    """The next sowing and its interval; an event of its own that keeps its UID."""
    batch = StoredSowing(id=3, made_s=0, crop="lettuce", box="north", sown=date(2026, 3, 1))
    next_one = Foreseen(
        batch=batch, kind="next-sowing", day=date(2026, 4, 12), low=date(2026, 3, 30), high=None
    )
    _, event = icalendar.Calendar.from_ical(calendar_of("plot", [batch], [next_one])).walk("VEVENT")
    assert event["UID"] == "sowing-3-next-sowing@plot.propstick"
    assert event["SUMMARY"] == "lettuce, north: sow the next"
    assert event.decoded("DTSTART") == date(2026, 4, 12)
    assert event["DESCRIPTION"] == "90 %: 2026-03-30 to ?"
