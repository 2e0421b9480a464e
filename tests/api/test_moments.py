"""Times as they come in: one way to read each, and only those that can be."""

from datetime import date

import pytest

from propstick.errors import InputError
from propstick_api.moments import day_span, moment, span

ZONE = "Europe/Dublin"


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-04-12T10:00:00Z", 1_775_988_000),
        ("2026-04-12T11:00:00+01:00", 1_775_988_000),
        ("2026-04-12T11:00:00 01:00", 1_775_988_000),  # a plus sign lost in an address
        ("2026-04-12T11:00", 1_775_988_000),  # on the site's clock
        ("2026-04-12", 1_775_948_400),  # its first second there
        ("2026-01-12", 1_768_176_000),
    ],
)
def test_a_moment_is_read(text, utc):
    """RFC 3339, the site's clock, or a day there."""
    assert moment(text, ZONE, what="from") == utc


def test_a_day_as_an_end_is_its_last_second():
    """The short day of spring and the long one of autumn: 23 and 25 hours (Europe/Dublin, 2026)."""
    for day, hours in (("2026-03-29", 23), ("2026-04-12", 24), ("2026-10-25", 25)):
        whole = moment(day, ZONE, what="to", is_end=True) - moment(day, ZONE, what="from")
        assert whole == hours * 3600, day


@pytest.mark.parametrize(
    "text",
    ["", "now", "0001-01-01", "9999-12-31", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00",
     "2026-02-30", "2026-13-01T00:00:00Z", "1e9", "2026-04-12T24:30:00Z", "\x00", "２０２６-04-12"],
)  # fmt: skip
def test_what_is_no_moment_is_refused(text):
    """With its name and what was expected."""
    with pytest.raises(InputError, match=r"^from: got "):
        moment(text, ZONE, what="from")


def test_a_span_ends_now_and_reaches_back():
    """What is not given has a sensible default."""
    assert span(None, None, zone_name=None, now_s=2_000_000_000, default_s=60) == (
        1_999_999_940,
        2_000_000_000,
    )
    assert day_span(None, None, zone_name=ZONE, now_s=1_775_988_000, default_days=3) == (
        date(2026, 4, 10), date(2026, 4, 12),
    )  # fmt: skip


def test_days_asked_for_are_800_at_most():
    """Both ends count; the refusal names the number asked for."""
    now = {"zone_name": ZONE, "now_s": 0, "default_days": 1}
    first, last = date(2024, 1, 1), date(2026, 3, 10)  # by hand: 366 + 365 + 69 days
    assert day_span(first, last, **now) == (first, last)
    with pytest.raises(InputError, match="got 801 days, expected at most 800"):
        day_span(first, date(2026, 3, 11), **now)


@pytest.mark.parametrize(
    ("begin", "end"),
    [
        ("2026-04-12", "2026-04-11"),
        ("2026-04-12T10:00Z", "2026-04-12T10:00Z"),
        ("2020-01-01", "2026-01-01"),
    ],
)
def test_a_span_that_cannot_be_is_refused(begin, end):
    """The wrong way round, empty, too long."""
    with pytest.raises(InputError):
        span(begin, end, zone_name=ZONE, now_s=0, default_s=60)
