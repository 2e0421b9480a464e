"""Dates and clocks as loggers and spreadsheets write them: read where they can mean one thing only."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from propstick.app import recording
from propstick.errors import InputError

START = datetime(2026, 3, 11, 22, 30)
"""The night before the twelfth, so that the thirteenth comes a day later."""
TIMES = [START + timedelta(minutes=15 * k) for k in range(4 * 36)]
UTC_MS = [int(t.replace(tzinfo=UTC).timestamp()) * 1000 for t in TIMES]


def read(texts, separator=","):
    rows = [f"{text}{separator}9.5" for text in texts]
    data = "\n".join([f"time{separator}north.air", *rows]) + "\n"
    return recording.read(data.encode(), zone="UTC")


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ("%d.%m.%Y %H:%M", "day.month.year"),
        ("%d.%m.%Y %H:%M:%S", "day.month.year"),
        ("%m/%d/%Y %I:%M:%S %p", "month/day/year"),
        ("%m/%d/%Y %H:%M", "month/day/year"),
        ("%d/%m/%Y %H:%M", "day/month/year"),
        ("%d-%m-%Y %H:%M", "day-month-year"),
        ("%Y/%m/%d %H:%M", ""),
        ("%Y-%m-%d %I:%M %p", "twelve hours"),
        ("%d.%m.%Y %H:%M:%S.250", "day.month.year"),
    ],
)
def test_a_form_that_can_mean_one_thing_only_is_read(form, said):
    """Written by Python's own strftime (C's, POSIX), read back to the same moments."""
    found = read([t.strftime(form) for t in TIMES])
    assert (found.columns.time_ms // 1000 * 1000).tolist() == UTC_MS
    assert said in " ".join(found.remarks)
    assert not found.columns.flags.any()


@given(st.datetimes(datetime(2001, 1, 1), datetime(2090, 1, 1)))
def test_twelve_hours_are_those_of_strptime(moment):
    """Midnight is 12 AM and noon 12 PM; Python's strptime is the reference."""
    text = moment.strftime("%d.%m.%Y %I:%M:%S %p")
    expected = datetime.strptime(text, "%d.%m.%Y %I:%M:%S %p").replace(tzinfo=UTC)
    assert read([text]).columns.time_ms.tolist() == [int(expected.timestamp()) * 1000]


def test_seconds_and_milliseconds_since_1970():
    """Unix time needs no zone."""
    for texts in ([str(ms // 1000) for ms in UTC_MS], [str(ms) for ms in UTC_MS]):
        rows = "\n".join(f"{text},9.5" for text in texts)
        found = recording.read(f"time,north.air\n{rows}\n".encode())
        assert found.columns.time_ms.tolist() == UTC_MS


def test_day_and_month_that_cannot_be_told_apart_are_refused():
    """No thirteenth in the column: a night of March would be one of November. Line, column and what to do."""
    early = [t for t in TIMES if t.day < 13]
    with pytest.raises(InputError, match="line 2, column time") as refused:
        read([t.strftime("%m/%d/%Y %H:%M") for t in early])
    assert "year first" in refused.value.hint


def test_a_thirteenth_in_either_place_is_refused():
    """A column in two orders has no order."""
    with pytest.raises(InputError, match="column time"):
        read(["13/02/2026 10:00", "02/13/2026 10:15"])


def test_one_row_of_another_form_is_only_that_row():
    """Among RFC 3339 a stray date is no time, as before; among others a garbled one."""
    found = read(["12/04/2026 18:00", "2026-04-12T18:01:00Z", "2026-04-12T18:02:00Z"])
    assert (found.untimed, len(found.columns)) == (1, 2)
    found = read(["13.04.2026 18:00", "99.99.2026 18:01", "13.04.2026 18:02"])
    assert (found.untimed, len(found.columns)) == (1, 2)


def test_without_a_zone_such_times_are_refused_too():
    """The clock's zone is needed whatever the form."""
    with pytest.raises(InputError, match="without an offset") as refused:
        recording.read(b"time,north.air\n13.04.2026 18:00,9\n")
    assert "--site" in refused.value.hint


@pytest.mark.parametrize("form", ["%d.%m.%Y %H:%M", "%m/%d/%Y %I:%M %p"])
def test_the_doubled_hour_is_told_apart_by_order(form):
    """The night of 25 October 2026 in Berlin comes out evenly spaced."""
    berlin = [datetime.fromtimestamp(1_792_872_000 + 600 * k, tz=UTC) for k in range(60)]
    from zoneinfo import ZoneInfo

    texts = [t.astimezone(ZoneInfo("Europe/Berlin")).strftime(form) for t in berlin]
    rows = "\n".join(f"{text},9.5" for text in texts)
    found = recording.read(f"time,north.air\n{rows}\n".encode(), zone="Europe/Berlin")
    assert np.unique(np.diff(found.columns.time_ms)).tolist() == [600_000]
