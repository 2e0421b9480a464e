"""Lows of nights from whole hours, against the single readings."""

from datetime import date

import numpy as np

from propstick.engine.nights import night_of
from propstick_api.extremes import Hours, night_lows


def test_a_nights_low_is_that_of_its_readings(rig):
    """The coldest lies well inside, so hours lose nothing."""
    site = rig.site()
    night = night_of(site.garden.site, date(2026, 4, 12))
    book = night_lows(site, site.garden, date(2026, 4, 11), date(2026, 4, 13))
    for box, probe, correction in (("north", "na", 0.5), ("outside", "oa", 0.0)):
        raw = site.readings.columns(night.start_s * 1000, night.end_s * 1000, probes=[probe]).raw
        assert book[night.date, box].value_c == round(raw.min() + correction, 2)
    assert {day for day, _ in book} == {date(2026, 4, 12)}


def test_only_whole_hours_count():
    """From half past to half past: the two hours between."""
    hours = Hours(np.array([0, 3600, 7200, 10800]), np.array([1.0, 5.0, np.nan, 2.0]))
    assert hours.lowest(1800, 12600).value_c == 5.0
    assert hours.lowest(7200, 10800) is None
    assert hours.lowest(3600, 3601) is None
