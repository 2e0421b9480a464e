"""Minutes from a station's hours: what was measured stays, what follows does not leak back."""

import numpy as np
import pytest

from propstick.errors import InputError
from propstick.simulation.measured import from_measured
from propstick.simulation.sky import clear_sky

START_S = 1_773_705_600
PLACE = {"latitude_deg": 50.0, "longitude_deg": 8.0, "seed": 4}


def _hours(spring_week, name):
    return getattr(spring_week, name)[30::60]


def test_measured_air_and_sun_are_kept(spring_week):
    """Hourly means of air within 0.3 °C; of sun within 12 % of the mean, though minutes are invented."""
    times = spring_week.time_s[30::60]
    sun = spring_week.ghi_w_m2.reshape(-1, 60).mean(axis=1)
    made = from_measured(times, _hours(spring_week, "air_c"), sun_w_m2=sun, **PLACE)
    n = len(made) // 60 * 60
    air = made.air_c[:n].reshape(-1, 60).mean(axis=1)
    straight = np.interp(made.time_s[:n], times, _hours(spring_week, "air_c")).reshape(-1, 60).mean(axis=1)
    assert np.abs(air - straight).mean() < 0.3
    ours = made.ghi_w_m2[:n].reshape(-1, 60).mean(axis=1)
    wanted = np.interp(made.time_s[:n], times, sun).reshape(-1, 60).mean(axis=1)
    assert np.abs(ours - wanted).mean() < 0.12 * wanted.mean()
    beam, _ = clear_sky(made.sun_elevation_deg, made.time_s)
    assert np.all(made.dni_w_m2 <= 1.08 * beam + 1e-9)
    assert np.all(made.dhi_w_m2 >= 0.0)


def test_tonight_does_not_know_tomorrow(spring_week):
    """Another tomorrow leaves every minute up to the last shared hour as it was."""
    times, air = spring_week.time_s[30::60], _hours(spring_week, "air_c")
    other = air.copy()
    other[80:] += 8.0
    one, two = (from_measured(times, values, **PLACE) for values in (air, other))
    shared = (80 - 1) * 60
    for name in ("cover", "cloud", "ghi_w_m2", "air_c", "sky_longwave_w_m2", "wind_m_s"):
        np.testing.assert_array_equal(getattr(one, name)[:shared], getattr(two, name)[:shared], err_msg=name)
    assert not np.array_equal(one.air_c, two.air_c)


def test_drawn_skies_follow_the_air(spring_week):
    """Without measured sun, hours that warm like clear ones get more light than hours that barely warm."""
    times = START_S + 3600 * np.arange(24 * 20)
    hour = np.arange(24 * 20) % 24
    clear_day = (np.arange(24 * 20) // 24) % 2 == 0
    swing = np.where(clear_day, 7.0, 0.8)
    air = 8.0 + swing * np.cos(2.0 * np.pi * (hour - 15) / 24.0)
    made = from_measured(times, air, **PLACE)
    light = made.ghi_w_m2[: 19 * 1440].reshape(-1, 1440).mean(axis=1)
    assert light[0::2].mean() > 1.3 * light[1::2].mean()


def test_rain_that_was_measured_comes_from_cloud(spring_week):
    """Hours with rain are covered."""
    times, air = spring_week.time_s[30::60], _hours(spring_week, "air_c")
    rain = np.zeros(len(times))
    rain[40:48] = 2.0
    made = from_measured(times, air, rain_mm_h=rain, **PLACE)
    assert made.cover[42 * 60 : 46 * 60].mean() > 0.8


@pytest.mark.parametrize(
    ("times", "air", "says"),
    [([0], [1.0], "two times"), ([60, 0], [1.0, 2.0], "later"), ([0, 3600], [np.nan, np.nan], "air")],
)
def test_unusable_series_are_refused(times, air, says):
    """The message names what was expected."""
    with pytest.raises(InputError, match=says):
        from_measured(np.array(times), np.array(air), **PLACE)
