"""Requests become news, or a reason why not."""

import pytest

from propstick.app.live.newsdesk import news_of
from propstick.errors import InputError
from propstick.garden import Box, Garden
from propstick.news import (
    Acknowledged,
    CoverTold,
    HardeningTold,
    LidTold,
    ServiceChanged,
    Shelved,
    WateredTold,
)
from propstick.times import utc_text

ROW_S = 1_790_000_040
GARDEN = Garden(boxes=(Box(name="north"),))
ALARM = "north.heat.20260921T140000Z"


def ask(kind, **body):
    return news_of(kind, body, row_s=ROW_S, garden=GARDEN, known_alarms=frozenset({ALARM}))


@pytest.mark.parametrize(
    ("kind", "body", "news"),
    [
        ("lid", {"box": "north", "opening": 0.3}, LidTold(time_s=ROW_S, box="north", opening=0.3)),
        ("lid", {"box": "north", "opening": "propped"}, LidTold(time_s=ROW_S, box="north", opening=0.1)),
        ("lid", {"box": "north", "opening": None}, LidTold(time_s=ROW_S, box="north", opening=None)),
        ("cover", {"box": "north", "on": True}, CoverTold(time_s=ROW_S, box="north", on=True)),
        ("hardening", {"box": "north", "on": True}, HardeningTold(time_s=ROW_S, box="north", on=True)),
        ("watered", {"box": "north"}, WateredTold(time_s=ROW_S, box="north")),
        (
            "watered",
            {"box": "north", "at": utc_text(ROW_S - 7200)},
            WateredTold(time_s=ROW_S - 7200, box="north"),
        ),
        ("acknowledge", {"id": ALARM}, Acknowledged(time_s=ROW_S, alarm_id=ALARM)),
        (
            "shelve",
            {"id": ALARM, "until": "2026-09-21T18:00:00+02:00"},
            Shelved(time_s=ROW_S, alarm_id=ALARM, until_s=1_790_006_400),
        ),
        ("unshelve", {"id": ALARM}, Shelved(time_s=ROW_S, alarm_id=ALARM, until_s=None)),
        ("out-of-service", {"box": "north"}, ServiceChanged(time_s=ROW_S, box="north", in_service=False)),
    ],
)
def test_a_good_request_becomes_news(kind, body, news):
    assert ask(kind, **body) == news


@pytest.mark.parametrize(
    ("kind", "body", "word"),
    [
        ("lid", {"box": "north", "opening": 1.2}, "1.2"),
        ("lid", {"box": "north", "opening": True}, "True"),
        ("lid", {"box": "south", "opening": 0.1}, "north"),
        ("cover", {"box": "north", "on": "yes"}, "yes"),
        ("acknowledge", {"id": "no.such"}, "no.such"),
        ("shelve", {"id": ALARM, "until": "tomorrow"}, "tomorrow"),
        ("shelve", {"id": ALARM, "until": "2030-01-01T00:00:00Z"}, "four weeks"),
        ("shelve", {"id": ALARM, "until": "2026-09-21T18:00:00"}, "offset"),
        ("watered", {"box": "north", "at": utc_text(ROW_S + 60)}, "60 days"),
        ("watered", {"box": "north", "at": utc_text(ROW_S - 61 * 86_400)}, "60 days"),
        ("watered", {"box": "north", "at": "2026-09-21T18:00:00"}, "offset"),
        ("dance", {"box": "north"}, "dance"),
    ],
)
def test_a_bad_one_says_what_was_wrong(kind, body, word):
    with pytest.raises(InputError, match=word):
        ask(kind, **body)
