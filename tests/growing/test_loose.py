"""Hours of sun from a loose probe, against pvlib's sun behind an obstacle drawn by hand."""

import numpy as np
import pytest

from propstick.garden import Obstacle
from propstick.growing import loose
from propstick.growing.spots import LEAST_W_M2, hidden
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.simulation.series import relax
from propstick.simulation.weather import invented
from propstick.times import at_local, local_date

PLACE = {"latitude": 51.5, "longitude": -0.12}
ZONE = "Europe/London"
HOUSE = Obstacle(bearing_from_deg=60.0, bearing_to_deg=150.0, height_deg=50.0)
SHED = Obstacle(bearing_from_deg=200.0, bearing_to_deg=290.0, height_deg=50.0)
DAYS = 8
FROM_S = 1_775_001_600  # 2026-04-01T00:00:00Z


@pytest.fixture(scope="module")
def sky():
    """Eight invented days of April, with cloud, by the minute."""
    return invented(51.5, -0.12, start_s=FROM_S, days=DAYS, seed=5)


def _laid(sky, obstacles, *, seed=1, until=DAYS):
    """What a bare probe lying there reads in ten-minute means, shaded air beside it, and a witness.

    A small ball is struck as squarely by a low sun as by a high one; of the sky it sees half.
    """
    day = local_date(float(sky.time_s[len(sky) // 2]), ZONE)
    behind = hidden(sky.sun_elevation_deg, sky.sun_azimuth_deg, obstacles, day=day)
    struck = np.where(behind, 0.0, sky.dni_w_m2) + 0.5 * sky.dhi_w_m2
    noise = np.random.default_rng(seed).normal(0.0, 0.06, (2, len(sky)))
    warm = sky.air_c + 7.0 * relax(struck / 1000.0, 6.0) + noise[0]
    grains = until * 144
    warmth, shade, sun = (
        values[: grains * 10].reshape(grains, 10).mean(axis=1)
        for values in (warm, sky.air_c + noise[1], sky.dni_w_m2)
    )
    return warmth, shade, sun > 500.0


def _judged(sky, obstacles, *, until=DAYS, witness=True, **how):
    warmth, shade, sunny = _laid(sky, obstacles, until=until, **how)
    time_s = sky.time_s[0] + loose.GRAIN_S * np.arange(len(warmth))
    elevation, _ = solar_position(time_s + loose.GRAIN_S / 2, *PLACE.values())
    gain = loose.gains(warmth, shade, clear_sky_w_m2(elevation))
    full = loose.full_gain(time_s, gain, longitude=PLACE["longitude"])
    if full is None:
        return None
    shines = sunny if witness else np.zeros(len(sunny), dtype=bool)
    day = local_date(float(time_s[-1]), ZONE)
    return loose.loose_sun(time_s, gain / full, shines, day=day, zone=ZONE, **PLACE)


def _by_pvlib(day, obstacle):
    """Hours with the sun well up, and of these those in which it is not behind the obstacle."""
    pvlib = pytest.importorskip("pvlib")
    pandas = pytest.importorskip("pandas")
    start = pandas.Timestamp(at_local(day, pandas.Timestamp(0).time(), ZONE), unit="s", tz="UTC")
    times = pandas.date_range(start, periods=288, freq="5min") + pandas.Timedelta("150s")
    sun = pvlib.solarposition.get_solarposition(times, PLACE["latitude"], PLACE["longitude"])
    ghi = pvlib.clearsky.haurwitz(sun.apparent_zenith).ghi
    up = ghi >= LEAST_W_M2
    across = (sun.azimuth >= obstacle.bearing_from_deg) & (sun.azimuth <= obstacle.bearing_to_deg)
    return up.sum() / 12.0, (up & ~(across & (sun.elevation < obstacle.height_deg))).sum() / 12.0


@pytest.mark.slow
@pytest.mark.parametrize("obstacle", [HOUSE, SHED])
def test_a_week_finds_the_hours_that_pvlib_counts(sky, obstacle):
    """Within its own interval, which is at most two hours wide."""
    found = _judged(sky, (obstacle,))
    well_up_h, sun_h = _by_pvlib(found.day, obstacle)
    assert found.well_up_h == pytest.approx(well_up_h, abs=0.4)
    assert found.sun_low_h - 0.1 <= sun_h <= found.sun_high_h + 0.1
    assert found.sun_h == pytest.approx(sun_h, abs=0.7)
    assert found.sun_high_h - found.sun_low_h <= 2.0


@pytest.mark.slow
def test_the_shadow_is_found_on_its_side_and_the_spots_are_ranked(sky):
    east, west, free = (_judged(sky, obstacles) for obstacles in ((HOUSE,), (SHED,), ()))
    assert east.stretches[0].from_deg == pytest.approx(HOUSE.bearing_to_deg, abs=12.0)
    assert west.stretches[-1].to_deg == pytest.approx(SHED.bearing_from_deg, abs=12.0)
    assert free.share > max(east.share, west.share) + 0.2
    assert free.share > 0.9


@pytest.mark.slow
def test_without_a_witness_the_doubt_is_wider(sky):
    alone, seen = (_judged(sky, (HOUSE,), witness=witness) for witness in (False, True))
    if alone is not None:
        assert alone.sun_high_h - alone.sun_low_h >= seen.sun_high_h - seen.sun_low_h
    assert seen is not None


@pytest.mark.slow
def test_two_days_and_a_spot_without_sun_say_nothing(sky):
    assert _judged(sky, (HOUSE,), until=2) is None
    pit = Obstacle(bearing_from_deg=0.0, bearing_to_deg=359.9, height_deg=80.0)
    assert _judged(sky, (pit,)) is None
