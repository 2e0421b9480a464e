"""The sun, against the published SPA case, pvlib and astral."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from propstick.physics.sun import clear_sky_w_m2, solar_position, sunrise_sunset

GOLDEN = (39.742476, -105.1786)
GOLDEN_S = datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC).timestamp()


def test_solar_position_matches_the_published_case():
    """Reda and Andreas (2004), NREL/TP-560-34302, example: 39.872046°, 194.34024°."""
    elevation, azimuth = solar_position(np.array([GOLDEN_S]), *GOLDEN)
    assert elevation[0] == pytest.approx(39.872046, abs=0.01)
    assert azimuth[0] == pytest.approx(194.34024, abs=0.01)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("latitude", "longitude"), [(51.5, -0.1), (-33.9, 151.2), (68.6, -149.6), (1.0, 37.0)]
)
def test_solar_position_matches_pvlib_all_year(latitude, longitude):
    """pvlib's SPA through 2025, every 7 h: height within 0.02°, bearing within 0.02° of arc on the sky."""
    pd = pytest.importorskip("pandas")
    solarposition = pytest.importorskip("pvlib.solarposition")
    times = pd.date_range("2025-01-01", "2026-01-01", freq="7h", tz="UTC")
    theirs = solarposition.get_solarposition(times, latitude, longitude)
    seconds = np.array([moment.timestamp() for moment in times])
    elevation, azimuth = solar_position(seconds, latitude, longitude)
    assert np.abs(elevation - theirs["elevation"].to_numpy()).max() < 0.02
    turn = np.remainder(azimuth - theirs["azimuth"].to_numpy() + 180.0, 360.0) - 180.0
    assert np.abs(turn * np.cos(np.radians(elevation))).max() < 0.02


@pytest.mark.parametrize(
    ("place", "day", "rise", "sunset"),
    [
        (GOLDEN, (2003, 10, 17), "13:12:57", "00:18:36"),
        ((51.5, -0.12), (2024, 3, 20), "06:02:31", "18:14:01"),
        ((51.5, 0.0), (2024, 12, 21), None, None),
        ((42.36, -71.06), (2024, 2, 10), "11:48:11", "22:09:17"),
        ((45.46, 9.19), (2024, 6, 21), "03:35:02", "19:15:16"),
        ((-20.0, 0.0), (2023, 9, 3), "06:07:19", "17:51:51"),
    ],
)
def test_sunrise_and_sunset_match_astral(place, day, rise, sunset):
    """Clock times printed by astral 3.2, within 30 s; the 51.5° N midwinter day lasts 7.817 h to a minute."""
    noon = datetime(*day, 12, tzinfo=UTC) - timedelta(hours=place[1] / 15.0)
    sun = sunrise_sunset(noon.timestamp(), *place)
    if rise is None:
        assert sun.day_length_s / 3600 == pytest.approx(7.817, abs=0.0167)
        return
    for ours, printed in ((sun.rise_s, rise), (sun.set_s, sunset)):
        h, m, s = (int(part) for part in printed.split(":"))
        gap = (ours - (h * 3600 + m * 60 + s)) % 86_400
        assert min(gap, 86_400 - gap) < 30


@pytest.mark.parametrize(("month", "length_s"), [(6, 86_400.0), (12, 0.0)])
def test_polar_day_and_night_have_no_sunrise(month, length_s):
    """At 78° N the sun stays up in June and down in December."""
    sun = sunrise_sunset(datetime(2025, month, 21, 11, tzinfo=UTC).timestamp(), 78.2, 15.6)
    assert sun.rise_s is None
    assert sun.set_s is None
    assert sun.day_length_s == length_s


@pytest.mark.parametrize(
    ("zenith", "w_m2"), [(0, 1035.1), (30, 888.3), (50.11162, 642.2), (60, 487.9), (85, 48.6)]
)
def test_clear_sky_matches_the_haurwitz_table(zenith, w_m2):
    """Values of pvlib 0.16.1 (k = 0.059)."""
    assert clear_sky_w_m2(np.array([90.0 - zenith]))[0] == pytest.approx(w_m2, abs=0.06)


def test_clear_sky_is_dark_at_night():
    """No light below the horizon; NaN heights stay NaN-safe."""
    assert clear_sky_w_m2(np.array([-0.1, -40.0])).tolist() == [0.0, 0.0]


def test_one_moment_equals_many():
    """An array of one gives the last bit of the same moment among others."""
    times = GOLDEN_S + 60.0 * np.arange(1000)
    whole = solar_position(times, *GOLDEN)
    single = solar_position(times[417:418], *GOLDEN)
    assert whole[0][417] == single[0][0]
    assert whole[1][417] == single[1][0]
