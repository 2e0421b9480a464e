"""Features of an evening, by hand."""

import numpy as np
import pytest

from propstick.blocks import PlaceRows
from propstick.engine.evening import FEATURES, NAMES, evening_at
from propstick.engine.nights import night_of
from propstick.engine.slots import extend, no_slots
from propstick.garden import Site
from propstick.times import local_date

SITE = Site(latitude=46.95, longitude=7.44, zone="Europe/Zurich")
START_S = 1_709_251_200  # 2024-03-01T00:00:00Z


def _evening(*, outside=True, humidity_pct=np.nan, lid=0.0, hours=2.0):
    """Two days on which air falls 1 °C an hour from 24 °C at midnight UTC; the box is 2 °C warmer."""
    n = 2 * 288
    time_s = START_S + 300 * np.arange(1, n + 1, dtype=np.int64)
    air = 24.0 - ((time_s - START_S) % 86_400) / 3600.0
    unknown, wide = np.full(n, np.nan), np.full((n, 1), np.nan)
    rows = PlaceRows(
        time_s, air if outside else unknown, unknown, unknown + humidity_pct if outside else unknown,
        (air + 2.0)[:, None], wide + 12.0, wide, wide, wide * 0 + lid, wide, wide == wide,
    )  # fmt: skip
    rows.soil_c[:] = 12.0
    rows.lid[:] = lid
    rows.outside_humidity_pct[:] = humidity_pct
    night = night_of(SITE, local_date(START_S + 86_400 + 43_200, SITE.zone))
    time = night.sunset_s + round(hours * 3600)
    time -= time % 300
    last = int(np.searchsorted(time_s, time)) + 1
    found = evening_at(
        extend(no_slots(1), rows.cut(0, last)), night, time, usual_drop_c=np.array([-3.0, -4.0])
    )
    return {name: found.features[:, k] for k, name in enumerate(NAMES)}, found, night, time


def test_differences_of_a_steady_fall():
    """Falling 1 °C an hour: 1 and 3 h changes of -1, the lift 2 °C, one day ago the same air."""
    f, found, night, time = _evening()
    assert found.features.shape == (2, FEATURES)
    assert found.beside
    assert f["change_1h"] == pytest.approx([-1.0, -1.0], abs=1e-4)
    assert f["change_3h"] == pytest.approx([-1.0, -1.0], abs=1e-4)
    assert f["own_change_1h"] == pytest.approx([-1.0, -1.0], abs=1e-4)
    assert f["lift"] == pytest.approx([2.0, 0.0], abs=1e-4)
    assert f["since_yesterday"] == pytest.approx([0.0, 0.0], abs=0.05)
    assert f["soil_over_air"][0] == pytest.approx((12.0 - found.air_c[0]) / 3.0, abs=1e-4)
    assert f["hours_left"][0] == pytest.approx((night.sunrise_s - time) / 3600.0 / 5.0 - 1.0)
    assert f["usual_drop"].tolist() == [-3.0, -4.0]


def test_an_open_lid_and_dew_show():
    """At 100 % the dew point is the air itself."""
    f, *_ = _evening(lid=0.5, humidity_pct=100.0)
    assert f["open_lift"] == pytest.approx([1.0, 0.0], abs=1e-4)
    assert f["dew_gap"] == pytest.approx([0.0, 0.0], abs=1e-6)
    assert np.isnan(_evening()[0]["dew_gap"]).all()


def test_without_outside_air_the_box_stands_in():
    f, found, *_ = _evening(outside=False)
    assert not found.beside
    assert f["change_1h"][0] == pytest.approx(-1.0, abs=1e-4)
    assert np.isnan(f["lift"]).all()


def test_a_boxs_own_humidity_speaks_where_outside_has_none():
    """At 100 % in a box 2 °C warmer than outside its dew point is 2 °C above the outside air."""
    n = 288
    time_s = START_S + 300 * np.arange(1, n + 1, dtype=np.int64)
    unknown, wide = np.full(n, np.nan), np.full((n, 1), np.nan)
    rows = PlaceRows(
        time_s,
        unknown * 0 + 5.0,
        unknown,
        unknown,
        wide + 7.0,
        wide,
        wide + 100.0,
        wide,
        wide,
        wide,
        wide == 0,
    )
    rows.outside_air_c[:], rows.air_c[:], rows.humidity_pct[:] = 5.0, 7.0, 100.0
    night = night_of(SITE, local_date(START_S + 43_200, SITE.zone))
    time = night.sunset_s - night.sunset_s % 300
    found = evening_at(extend(no_slots(1), rows), night, time, usual_drop_c=np.zeros(2))
    gap = found.features[:, NAMES.index("dew_gap")]
    assert gap[0] == pytest.approx(-2.0 / 3.0)
    assert np.isnan(gap[1])
