"""The outside's rise to its maximum."""

import numpy as np
import pytest

from propstick.blocks import PlaceRows
from propstick.engine import rise
from propstick.engine.nights import daylight_of
from propstick.engine.slots import extend, no_slots
from propstick.garden import Site
from propstick.times import local_date

SITE = Site(latitude=46.95, longitude=7.44, zone="Europe/Zurich")
START_S = 1_709_251_200  # 2024-03-01T00:00:00Z


def _rows(swings_c):
    """One day per swing: air from -swing at 03:00 to +swing at 15:00 UTC."""
    n = len(swings_c) * 288
    time_s = START_S + 300 * np.arange(1, n + 1, dtype=np.int64)
    hour = ((time_s - START_S) % 86_400) / 3600.0
    swing = np.repeat(swings_c, 288)
    air = np.round(8.0 - swing * np.cos((hour - 3.0) / 12.0 * np.pi), 2)
    unknown, none = np.full(n, np.nan), np.full((n, 0), np.nan)
    return PlaceRows(time_s, air, unknown, unknown, none, none, none, none, none, none, none == 0)


def _forecasts(swings_c, *, hours):
    rows, slots, state = _rows(swings_c), no_slots(0), rise.no_days()
    out, first = [], 0
    for day in range(len(swings_c)):
        light = daylight_of(SITE, local_date(START_S + day * 86_400 + 43_200, SITE.zone))
        issue_s = light.sunrise_s + round(hours * 3600)
        at = int(np.searchsorted(rows.time_s, issue_s)) + 1
        slots = extend(slots, rows.cut(first, at))
        forecast = rise.rise(state, slots, light, time_s=int(rows.time_s[at - 1]), site=SITE)
        end = int(np.searchsorted(rows.time_s, light.sunset_s)) + 1
        slots, first = extend(slots, rows.cut(at, end)), end
        air = rows.outside_air_c
        out.append((forecast, air[at:end].max() - air[at - 3 : at].mean()))
        state = rise.learn(state, slots, light, site=SITE)
    return out


@pytest.mark.parametrize("hours", [-0.5, 1.0, 3.0])
def test_equal_days_are_soon_foretold(hours):
    for forecast, came in _forecasts([5.0] * 15, hours=hours)[8:]:
        assert forecast.rise_c == pytest.approx(came, abs=0.8)
        assert forecast.mean_c == pytest.approx(came, abs=1.2)


def test_the_first_day_speaks_with_a_wide_spread_that_narrows():
    forecasts = [f for f, _ in _forecasts([4.0] * 20, hours=1.0)]
    assert 0.0 <= forecasts[0].rise_c < 15.0
    assert forecasts[-1].sd_c < 0.7 * forecasts[0].sd_c


def test_unknown_outside_air_has_no_rise():
    rows = _rows([5.0, 5.0])
    rows.outside_air_c[:] = np.nan
    light = daylight_of(SITE, local_date(START_S + 86_400, SITE.zone))
    slots = extend(no_slots(0), rows)
    forecast = rise.rise(rise.no_days(), slots, light, time_s=light.sunrise_s, site=SITE)
    assert np.isnan(forecast.rise_c)
    assert forecast.mean_c == pytest.approx(7.0)
