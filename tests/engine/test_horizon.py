"""The day's and the night's forecasts in one stream of rows."""

import numpy as np

from propstick import codec
from propstick.blocks import PlaceRows
from propstick.engine import horizon
from propstick.engine.nights import daylight_of, night_of
from propstick.garden import Site
from propstick.times import local_date

SITE = Site(latitude=46.95, longitude=7.44, zone="Europe/Zurich")
START_S = 1_709_251_200  # 2024-03-01T00:00:00Z


def _rows(days, *, boxes=2, step_s=60):
    n = days * 86_400 // step_s
    time_s = START_S + step_s * np.arange(1, n + 1, dtype=np.int64)
    hour = ((time_s - START_S) % 86_400) / 3600.0
    air = np.round(6.0 + 5.0 * np.cos((hour - 14.0) / 12.0 * np.pi), 2)
    unknown, wide = np.full(n, np.nan), np.full((n, boxes), np.nan)
    box = np.repeat((air + 2.0)[:, None], boxes, axis=1)
    return PlaceRows(time_s, air, unknown, unknown, box, wide, wide, wide, 0.0 * box, wide, box > -99)


def test_learning_falls_due_at_the_nights_end_and_at_sunset_by_row_time():
    rows = _rows(2)
    day = local_date(START_S + 43_200, SITE.zone)
    night, light = night_of(SITE, day), daylight_of(SITE, day)
    ends = {int(np.searchsorted(rows.time_s, t)) for t in (night.end_s, light.sunset_s)}
    for last in ends:
        before = horizon.advance(horizon.start(2), rows.cut(0, last), site=SITE)
        after = horizon.advance(before, rows.cut(last, last + 1), site=SITE)
        lifts_moved = not np.array_equal(after.day.lift_c, before.day.lift_c, equal_nan=True)
        assert (after.night.nights - before.night.nights, lifts_moved) in {(1, False), (0, True)}


def test_a_checkpoint_brings_back_the_same_forecast():
    state = horizon.advance(horizon.start(2), _rows(3), site=SITE)
    again = codec.from_text(codec.to_text(state), of=horizon.HorizonState)
    one, other = (horizon.night_minimum(s, site=SITE) for s in (state, again))
    np.testing.assert_array_equal(one.min_c, other.min_c)
    np.testing.assert_array_equal(one.low_c, other.low_c)


def test_days_of_silence_are_survived():
    rows = _rows(12)
    state = horizon.advance(horizon.start(2), rows.cut(0, 4 * 1440), site=SITE)
    state = horizon.advance(state, rows.cut(9 * 1440, 12 * 1440), site=SITE)
    forecast = horizon.night_minimum(state, site=SITE)
    assert not np.isnan(forecast.min_c).any()
