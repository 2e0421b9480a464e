"""Which night a moment belongs to."""

from datetime import UTC, date, datetime

import astral
import astral.sun
import pytest

from propstick.engine.nights import night_ending_after, night_of
from propstick.garden import Site

BERN = Site(latitude=46.95, longitude=7.44, zone="Europe/Zurich")


def _utc_s(*when: int) -> int:
    return int(datetime(*when, tzinfo=UTC).timestamp())


def test_night_runs_from_an_hour_before_sunset_to_an_hour_after_sunrise():
    """Sunset and sunrise as the library astral has them, to a minute."""
    night = night_of(BERN, date(2024, 3, 10))
    place = astral.Observer(46.95, 7.44)
    assert night.start_s + 3600 == pytest.approx(
        astral.sun.sunset(place, date(2024, 3, 10)).timestamp(), abs=60
    )
    assert night.end_s - 3600 == pytest.approx(
        astral.sun.sunrise(place, date(2024, 3, 11)).timestamp(), abs=60
    )
    assert night.by_sun


@pytest.mark.parametrize("zone", [None, "America/Anchorage", "UTC"])
def test_far_west_nights_follow_the_sun_whatever_the_zone(zone):
    """At 150° W sunset falls after midnight UTC; nights still come one after another."""
    site = Site(latitude=61.0, longitude=-150.0, zone=zone)
    night = night_ending_after(site, _utc_s(2024, 3, 10, 12))
    following = night_ending_after(site, night.end_s)
    assert night.start_s < _utc_s(2024, 3, 10, 12) < night.end_s < following.start_s
    assert 8 < (following.start_s - night.end_s) / 3600 < 12


def test_without_position_or_sunset_the_clock_decides():
    """18:00 to 08:00 on the wall, over the spring change of clocks too."""
    for site in (Site(zone="Europe/Zurich"), Site(latitude=69.6, longitude=18.9, zone="Europe/Oslo")):
        night = night_of(site, date(2024, 6, 20))
        assert not night.by_sun
        assert (night.start_s, night.end_s) == (_utc_s(2024, 6, 20, 16), _utc_s(2024, 6, 21, 6))
    changed = night_of(Site(zone="Europe/Zurich"), date(2024, 3, 30))
    assert (changed.start_s, changed.end_s) == (_utc_s(2024, 3, 30, 17), _utc_s(2024, 3, 31, 6))


def test_a_night_that_has_just_ended_is_over():
    night = night_of(BERN, date(2024, 3, 10))
    assert night_ending_after(BERN, night.end_s - 1) == night
    assert night_ending_after(BERN, night.end_s) == night_of(BERN, date(2024, 3, 11))


def test_issue_hour_counts_from_sunset():
    night = night_of(BERN, date(2024, 3, 10))
    assert night.issue_hour(night.start_s) == -1
    assert night.issue_hour(night.sunset_s + 2 * 3600 + 59) == 2
