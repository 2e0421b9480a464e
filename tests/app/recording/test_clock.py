"""Times as RFC 3339 has them, and wall-clock times of a known zone."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from propstick.app.recording.clock import UNREADABLE, TimeColumn, moment_ms
from propstick.app.recording.problems import Problems
from propstick.errors import InputError

BERLIN = ZoneInfo("Europe/Berlin")


def read(*texts, zone=None):
    problems = Problems("x")
    column = TimeColumn(zone, problems)
    return column.read(texts, range(2, 2 + len(texts))).tolist(), problems


def ms(text):
    return round(datetime.fromisoformat(text).timestamp() * 1000)


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        # RFC 3339 section 5.8, its examples.
        ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520+00:00"),
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57+00:00"),
        ("1990-12-31T23:59:60Z", "1991-01-01T00:00:00+00:00"),
        ("1990-12-31T15:59:60-08:00", "1991-01-01T00:00:00+00:00"),
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870+00:00"),
        # Written otherwise, to be read one way only.
        ("2026-04-12 18:00Z", "2026-04-12T18:00:00+00:00"),
        ("2026-04-12t18:00:00z", "2026-04-12T18:00:00+00:00"),
        ("2026-04-12T18:00:00,5+0100", "2026-04-12T17:00:00.500+00:00"),
        ("2026-04-12T24:00:00Z", "2026-04-13T00:00:00+00:00"),
    ],
)
def test_times_with_an_offset(text, utc):
    """The examples of RFC 3339, section 5.8, and near relatives."""
    assert moment_ms(text) == (ms(utc), True)


@pytest.mark.parametrize(
    "text",
    ["", "time", "12/04/2026 18:00", "2026-02-30T00:00:00Z", "2026-04-12", "2026-04-12T25:00:00Z",
     "1776016800", "2026-04-12T24:01:00Z", "2026-04-12T18:00:61Z", "2026-04-12T18:60:00Z",
     "2026-04-12T18:00:00+99:00", "٢٠٢٦-04-12T18:00Z"],
)  # fmt: skip
def test_what_is_no_such_time(text):
    """Other orders of day and month are not guessed at."""
    assert moment_ms(text) is None


@given(st.lists(st.datetimes(datetime(2000, 1, 1), datetime(2090, 1, 1)), min_size=1, max_size=30))
def test_the_fast_way_and_the_careful_way_agree(moments):
    """Python's own datetime is the reference; both paths give its figures."""
    moments = [moment.replace(microsecond=0, tzinfo=UTC) for moment in moments]
    expected = [int(moment.timestamp()) * 1000 for moment in moments]
    alike = [moment.strftime("%Y-%m-%dT%H:%M:%SZ").rjust(20, "0") for moment in moments]
    assert read(*alike)[0] == expected
    mixed = [text.replace("Z", "+00:00") if k else text for k, text in enumerate(alike)]
    assert read(*mixed)[0] == expected


def test_unreadable_times_are_marked_and_said():
    """With the line of the first."""
    times, problems = read("2026-04-12T18:00:00Z", "yesterday")
    assert times == [ms("2026-04-12T18:00:00+00:00"), UNREADABLE]
    assert "'yesterday', line 3" in problems.remarks[0]


def test_time_without_offset_is_refused_without_a_zone():
    """File, line and column are named, and what to do."""
    with pytest.raises(InputError, match="line 3, column time") as refused:
        read("2026-04-12T18:00:00Z", "2026-04-12T18:01:00")
    assert "--site" in refused.value.hint


def test_wall_clock_is_read_in_the_zone():
    """Summer and winter time."""
    times, _ = read("2026-01-10 12:00:00", "2026-07-10 12:00:00", zone=BERLIN)
    assert times == [ms("2026-01-10T11:00:00+00:00"), ms("2026-07-10T10:00:00+00:00")]


@pytest.mark.parametrize("step", [1, 10, 20, 30, 60])
def test_doubled_hour_of_autumn_is_told_apart_by_order(step):
    """Rows at any step through the night of 25 October 2026 come out evenly spaced."""
    start = ms("2026-10-24T22:00:00+00:00")
    utc = [start + 60_000 * step * k for k in range(8 * 60 // step)]
    wall = [datetime.fromtimestamp(t / 1000, BERLIN).strftime("%Y-%m-%d %H:%M:%S") for t in utc]
    assert read(*wall, zone=BERLIN)[0] == utc


def test_a_doubled_row_in_the_doubled_hour_stays_a_double():
    """The same minute twice in minutely rows is a repeated row, not the second hour."""
    times, _ = read(
        "2026-10-25 02:10:00",
        "2026-10-25 02:11:00",
        "2026-10-25 02:11:00",
        "2026-10-25 02:12:00",
        zone=BERLIN,
    )
    assert [t - times[0] for t in times] == [0, 60_000, 60_000, 120_000]


def test_skipped_hour_of_spring_keeps_time_running_and_is_said():
    """A logger that did not change its clock: 02:30 on 29 March is winter time, 01:30 UTC."""
    times, problems = read("2026-03-29 01:30:00", "2026-03-29 02:30:00", zone=BERLIN)
    assert times[1] - times[0] == 3_600_000
    assert "skips" in problems.remarks[0]
