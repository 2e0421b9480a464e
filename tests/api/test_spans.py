"""Stretches of time as requests ask for them: defaults, and only those that can be."""

from datetime import date

import pytest

from propstick.errors import InputError
from propstick_api.spans import day_span, span

ZONE = "Europe/Dublin"


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
