"""Observed extremes, and where they are whole."""

import numpy as np
import pytest

from propstick.app.replay.report import air_of, observed_days, observed_nights
from propstick.garden import Box, Garden, Probe, Site
from propstick.grid import ReadingColumns
from propstick.times import utc_text

START = 1_775_952_000  # 2026-04-12T00:00Z
HOUR = 3600


def garden(*boxes, site=None, outside=False):
    places = [*boxes, *(["outside"] if outside else [])]
    return Garden(
        site=site or Site(),
        boxes=tuple(Box(name=b) for b in boxes),
        probes=tuple(Probe(id=f"{b}.air", box=b, place="air") for b in places),
    )


def hours(values, *, probe="north.air"):
    """One reading an hour from 2026-04-12T00:00Z."""
    n = len(values)
    return ReadingColumns(
        probes=(probe,),
        time_ms=(START + HOUR * np.arange(n)) * 1000,
        column=np.zeros(n, dtype=np.int32),
        raw=np.array(values, dtype=float),
        flags=np.zeros(n, dtype=np.uint16),
    )


def test_nights_without_a_site_count_from_18_to_8():
    """The lowest from the night's start to its end, named by the date it begins; parts say so."""
    values = [10.0] * 49
    values[7], values[17], values[28], values[32], values[33] = 3.0, -9.0, 1.5, 2.0, -5.0
    nights = observed_nights(
        air_of(hours(values), garden("north")), garden("north"), from_s=START, to_s=START + 48 * HOUR
    )
    assert [(n.date.day, n.value_c, n.whole) for n in nights] == [
        (11, 3.0, False),
        (12, 1.5, True),  # 04:00; what fell at 17:00 and at 09:00 is not the night's
        (13, 10.0, False),
    ]
    assert utc_text(nights[1].at_s) == "2026-04-13T04:00:00Z"


def test_nights_follow_the_sun_where_it_is_known():
    """Greenwich, 12 April: sunset about 18:51, sunrise about 05:09 UTC (almanac, to the minute or two)."""
    site = Site(latitude=51.48, longitude=0.0, zone="UTC")
    values = [10.0] * 49
    values[17], values[18], values[30], values[31] = -9.0, 2.0, 3.0, -9.0  # 17, 18, 06, 07 h
    found = observed_nights(
        air_of(hours(values), garden("north", site=site)),
        garden("north", site=site),
        from_s=START,
        to_s=START + 48 * HOUR,
    )
    assert [n.value_c for n in found if n.whole] == [2.0]


def test_days_run_from_midnight_to_midnight_there():
    """In the zone of the site."""
    site = Site(zone="America/New_York")  # UTC-4 in April
    values = [5.0] * 30
    values[3], values[20] = 9.0, 30.0
    days = observed_days(
        air_of(hours(values), garden("north", site=site)),
        garden("north", site=site),
        from_s=START,
        to_s=START + 29 * HOUR,
    )
    assert [(d.date.day, d.value_c, d.whole) for d in days] == [
        (11, 9.0, False), (12, 30.0, True), (13, 5.0, False),
    ]  # fmt: skip


@pytest.mark.parametrize(("boxes", "expected"), [((), {"outside"}), (("north",), {"north"})])
def test_the_open_ground_counts_where_there_is_no_box(boxes, expected):
    """Outside is no box, but all there is in a station's recording."""
    one = garden(*boxes, outside=True)
    nights = observed_nights(
        air_of(hours([4.0] * 30, probe="outside.air"), one), one, from_s=START, to_s=START + 29 * HOUR
    )
    assert {n.box for n in nights} == expected


def test_a_night_without_a_reading_is_listed_without_a_value():
    """Not knowing is not the same as not having been."""
    values = np.full(49, np.nan)
    values[[0, 48]] = 5.0
    nights = observed_nights(
        air_of(hours(values), garden("north")), garden("north"), from_s=START, to_s=START + 48 * HOUR
    )
    assert [n.value_c for n in nights] == [5.0, None, 5.0]
