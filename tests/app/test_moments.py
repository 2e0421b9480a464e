"""Times as they come in: one way to read each, and only those that can be."""

import pytest

from propstick.app.moments import moment
from propstick.errors import InputError

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


@pytest.mark.parametrize(
    ("text", "is_end", "expected"),
    [
        ("2026-07-01", False, 1782860400),  # midnight in Dublin in July is 23:00 UTC
        ("2026-07-01", True, 1782860400 + 86400),
        ("2026-07-01T00:00", False, 1782860400),
        ("2026-07-01T00:00Z", False, 1782864000),
        ("2026-07-01T02:00+02:00", True, 1782864000),
    ],
)
def test_moment_reads_days_and_times(text, is_end, expected):
    """2026-07-01T00:00Z is 1782864000 (date -u -d @1782864000)."""
    assert moment(text, ZONE, what="--to", is_end=is_end) == expected


def test_moment_refuses_anything_else():
    with pytest.raises(InputError, match=r"^--to: got 'yesterday'"):
        moment("yesterday", None, what="--to")
    with pytest.raises(InputError, match=r"^--to: got the year 9999"):  # whose last day has no day after it
        moment("9999-12-31", ZONE, what="--to", is_end=True)
