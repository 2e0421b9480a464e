"""Invented weather: the same from the same seed, and with the moods of real spring weather."""

import numpy as np
import pytest

from propstick.simulation.series import lagged_noise, relax
from propstick.simulation.sky import clear_sky
from propstick.simulation.weather import Climate, invented

START_S = 1_773_705_600


def test_same_seed_same_weather(spring_week):
    """Equal arguments, equal bits; another seed, another week."""
    again = invented(50.0, 8.0, start_s=START_S, days=7, seed=11)
    other = invented(50.0, 8.0, start_s=START_S, days=7, seed=12)
    for name, values in vars(spring_week).items():
        np.testing.assert_array_equal(values, getattr(again, name), err_msg=name)
    assert not np.allclose(spring_week.air_c, other.air_c)


def test_every_figure_is_possible(spring_week):
    """No light at night, dew point under the air, light never far above a clear sky's."""
    w = spring_week
    assert all(np.isfinite(values).all() and len(values) == 7 * 1440 for values in vars(w).values())
    assert np.all(w.ghi_w_m2[w.sun_elevation_deg < -5.0] == 0.0)
    assert np.all(w.dew_point_c < w.air_c)
    assert np.all(w.wind_m_s > 0.0)
    beam, diffuse = clear_sky(w.sun_elevation_deg, w.time_s)
    clear = beam * np.maximum(np.sin(np.radians(w.sun_elevation_deg)), 0.0) + diffuse
    assert np.all(w.ghi_w_m2 <= 1.25 * clear + 1.0)


@pytest.mark.slow
def test_clear_nights_cool_more_than_cloudy_ones():
    """Fall of the air from sunset to sunrise: FAO's frost book's ten clear nights fell 4 to 9.6 °C from two
    hours after sunset; cloudy nights fall far less (common practice, no source)."""
    w = invented(48.0, 9.0, start_s=START_S, days=90, seed=5)
    sun = w.sun_elevation_deg
    sets = np.flatnonzero((sun[:-1] > 0) & (sun[1:] <= 0))
    fall, cover = [], []
    for row in sets[:-1]:
        night = slice(row + 120, row + 9 * 60)
        fall.append(w.air_c[row + 120] - w.air_c[night].min())
        cover.append(w.cover[night].mean())
    fall, cover = np.array(fall), np.array(cover)
    assert 2.5 < np.median(fall[cover < 0.2]) < 10.0
    assert np.median(fall[cover > 0.8]) < 0.6 * np.median(fall[cover < 0.2])


@pytest.mark.slow
def test_skies_last_hours_and_clouds_minutes():
    """Not one number a day: the sky turns between clear and covered more than once a day and less than ten
    times, while under broken cloud the sun goes in and out several times an hour."""
    w = invented(48.0, 9.0, start_s=START_S, days=60, seed=6)
    mood = np.digitize(w.cover, [0.25, 0.75])[::30]
    assert 1.0 < np.abs(np.diff(mood)).astype(bool).mean() * 48.0 < 10.0
    broken = (w.cover > 0.3) & (w.cover < 0.7) & (w.sun_elevation_deg > 15.0)
    switches = np.abs(np.diff(w.cloud > 0.4))[broken[1:]].mean() * 60.0
    assert 3.0 < switches < 30.0


def test_knobs_turn_what_they_say():
    """A warmer climate is warmer; days are not longer than asked."""
    base = invented(48.0, 9.0, start_s=START_S, days=2, seed=1)
    warm = invented(48.0, 9.0, start_s=START_S, days=2, seed=1, climate=Climate(year_mean_c=14.5))
    assert len(base) == 2880
    assert warm.air_c.mean() - base.air_c.mean() == pytest.approx(5.0, abs=0.5)


def test_noise_and_lag_have_the_memory_asked_for():
    """Ornstein and Uhlenbeck: unit variance, correlation 1/e after one time constant; lag 63 % of a step."""
    noise = lagged_noise(200_000, 10.0, rng=np.random.default_rng(3))
    assert noise.std() == pytest.approx(1.0, abs=0.03)
    assert np.corrcoef(noise[:-10], noise[10:])[0, 1] == pytest.approx(np.exp(-1.0), abs=0.03)
    step = relax(np.r_[0.0, np.ones(30)], 10.0)
    assert step[10] == pytest.approx(1.0 - np.exp(-1.0), abs=1e-12)
