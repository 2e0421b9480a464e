"""Loose probes on many bare spots, of another physics than the judge's, against geometry."""

from datetime import date

import numpy as np
import pytest

from propstick.garden import Obstacle
from propstick.growing import loose
from propstick.growing.spots import LEAST_W_M2, hidden
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.simulation.bare import bare_probe_c
from propstick.simulation.weather import invented
from propstick.times import utc_text

PLACE = {"latitude": 51.5, "longitude": -0.12}
START_S = 1_775_001_600  # 2026-04-01
HOUSE = Obstacle(bearing_from_deg=80.0, bearing_to_deg=150.0, height_deg=50.0)
SHED = Obstacle(bearing_from_deg=200.0, bearing_to_deg=290.0, height_deg=50.0)


def means(values):
    return values.reshape(-1, 10).mean(axis=1)


def lived(obstacles, *, days=8, seed=1, start_s=START_S, shade_c=0.4, **manners):
    """Times, warmth above shaded air per sun, and the sun there could be, of a probe on such a spot."""
    weather = invented(PLACE["latitude"], PLACE["longitude"], start_s=start_s, days=days, seed=seed)
    time_s = (weather.time_s.reshape(-1, 10)[:, 0] - 60).astype(np.int64)
    elevation, _ = solar_position(time_s + 300, PLACE["latitude"], PLACE["longitude"])
    clear = clear_sky_w_m2(elevation)
    outside = means(weather.air_c + shade_c * weather.ghi_w_m2 / 1000.0)
    said = means(bare_probe_c(weather, obstacles, seed=seed, **manners))
    return time_s, loose.gains(said, outside, clear), clear, weather


def found(obstacles, **changes):
    time_s, gain, _, _ = lived(obstacles, **changes)
    full = loose.full_gain(time_s, gain, longitude=PLACE["longitude"])
    nobody = np.zeros(len(time_s), dtype=bool)
    day = date.fromisoformat(utc_text(int(time_s[-1]))[:10])
    return None if full is None else loose.loose_sun(time_s, gain / full, nobody, day=day, **PLACE)


def true_share(obstacles, day):
    """Geometry alone: hours and share of a cloudless day's energy while the sun stands well up."""
    time_s = int(np.datetime64(day, "s").astype(np.int64)) + 600 * np.arange(144)
    elevation, azimuth = solar_position(time_s + 300, PLACE["latitude"], PLACE["longitude"])
    energy = clear_sky_w_m2(elevation)
    well_up = energy >= LEAST_W_M2
    reaches = well_up & ~hidden(elevation, azimuth, obstacles, day=day)
    return float(reaches.sum()) / 6.0, float(energy[reaches].sum() / energy[well_up].sum())


def test_the_shade_of_a_house_is_found_to_the_half_hour_and_by_bearing():
    sun = found((HOUSE,))
    (stretch,) = sun.stretches
    time_s = START_S + 7 * 86_400 + 60 * np.arange(1440)
    elevation, azimuth = solar_position(time_s, PLACE["latitude"], PLACE["longitude"])
    free = (elevation > 12.0) & ~hidden(elevation, azimuth, (HOUSE,), day=sun.day)
    assert abs(stretch.begin_s - time_s[free][0]) <= 1800
    assert stretch.from_deg == pytest.approx(HOUSE.bearing_to_deg, abs=10.0)
    hours, share = true_share((HOUSE,), sun.day)
    assert sun.sun_low_h <= hours <= sun.sun_high_h
    assert sun.share_low <= share <= sun.share_high < 0.95


def test_an_open_spot_is_in_the_sun_all_day():
    sun = found(())
    assert sun.share == 1.0
    assert len(sun.stretches) == 1


@pytest.mark.slow
@pytest.mark.parametrize("wall", [HOUSE, SHED])
def test_hours_hold_against_positions_of_pvlib(wall):
    pvlib = pytest.importorskip("pvlib")
    pandas = pytest.importorskip("pandas")
    sun = found((wall,))
    times = pandas.date_range(str(sun.day), periods=144, freq="10min", tz="UTC") + pandas.Timedelta("5min")
    at = pvlib.solarposition.get_solarposition(times, PLACE["latitude"], PLACE["longitude"])
    clear = pvlib.clearsky.haurwitz(at.apparent_zenith).ghi
    across = (at.azimuth >= wall.bearing_from_deg) & (at.azimuth <= wall.bearing_to_deg)
    behind = across & (at.elevation < wall.height_deg)
    exact = float(((clear >= LEAST_W_M2) & ~behind).sum()) / 6.0
    assert sun.sun_low_h - 0.17 <= exact <= sun.sun_high_h + 0.17


@pytest.mark.slow
def test_the_interval_holds_what_it_states_on_sixty_spots():
    """Eight days each from March to June; walls of 20 to 75° in the south half, probes polished and black."""
    rng = np.random.default_rng(5)
    held, wide, said = 0, [], 0
    for seed in range(60):
        spans = [(rng.uniform(80, 280), rng.uniform(20, 120)) for _ in range(int(rng.integers(1, 4)))]
        walls = tuple(
            Obstacle(
                bearing_from_deg=float(middle - width / 2) % 360.0,
                bearing_to_deg=float(middle + width / 2) % 360.0,
                height_deg=float(rng.uniform(20.0, 75.0)),
            )
            for middle, width in spans
        )
        manners = {"absorbs": rng.uniform(0.5, 0.9), "lag_minutes": rng.uniform(2.0, 5.0)}
        start_s = 1_772_323_200 + int(rng.integers(0, 120)) * 86_400
        sun = found(walls, seed=seed, start_s=start_s, **manners)
        if sun is None:
            continue
        said += 1
        _, share = true_share(walls, sun.day)
        held += sun.share_low - 1e-9 <= share <= sun.share_high + 1e-9
        wide.append(sun.share_high - sun.share_low)
    print(f"said {said} of 60, held {held}, mean width {np.mean(wide):.2f}")
    assert said >= 45
    assert held >= 0.9 * said
    assert np.mean(wide) < 0.35


def test_too_few_clear_days_and_a_shaded_probe_say_nothing():
    assert found((), days=2) is None
    time_s, gain, _, _ = lived((), absorbs=0.05)
    assert loose.full_gain(time_s, gain, longitude=PLACE["longitude"]) is None
    assert loose.full_gain(time_s[:0], gain[:0], longitude=PLACE["longitude"]) is None


def test_what_was_never_seen_clear_widens_the_interval():
    """Afternoons lost to silence on all but one day: open, and the interval says so."""
    time_s, gain, _, _ = lived(())
    full = loose.full_gain(time_s, gain, longitude=PLACE["longitude"])
    nobody, day = np.zeros(len(time_s), dtype=bool), date(2026, 4, 8)
    whole = loose.loose_sun(time_s, gain / full, nobody, day=day, **PLACE)
    late = (time_s % 86_400 > 14 * 3600) & (time_s > START_S + 86_400)
    part = loose.loose_sun(time_s, np.where(late, np.nan, gain / full), nobody, day=day, **PLACE)
    assert part.share_high - part.share_low > whole.share_high - whole.share_low + 0.1


def test_a_witness_turns_doubt_into_shade():
    """A spot in the sun two hours a day: without a witness its dark hours stay open."""
    slit = tuple(
        Obstacle(bearing_from_deg=a, bearing_to_deg=b, height_deg=80.0)
        for a, b in ((60.0, 165.0), (205.0, 300.0))
    )
    time_s, gain, _, weather = lived(slit, days=10)
    full = loose.full_gain(time_s, gain, longitude=PLACE["longitude"])
    day = date(2026, 4, 10)
    sky = means(weather.dni_w_m2) > 300.0
    sun = loose.loose_sun(time_s, gain / full, sky, day=day, **PLACE)
    _, share = true_share(slit, day)
    assert sun.share_low <= share <= sun.share_high
    blind = loose.loose_sun(time_s, gain / full, np.zeros(len(time_s), dtype=bool), day=day, **PLACE)
    width = 1.0 if blind is None else blind.share_high - blind.share_low
    assert sun.share_high - sun.share_low < width


def test_a_box_is_a_witness_by_its_warmth_and_never_in_its_own_shade():
    time_s = 600 * np.arange(144 * 7) + START_S
    elevation, _ = solar_position(time_s + 300, **{f"{k}_deg": v for k, v in PLACE.items()})
    clear = clear_sky_w_m2(elevation)
    hour = (time_s % 86_400) // 3600
    cloudy = (time_s // 86_400) % 2 == 0
    lit = clear * np.where(cloudy, 0.2, 1.0) * np.where((hour >= 8) & (hour < 10), 0.1, 1.0)
    held, excess = 0.0, np.zeros(len(time_s))
    for k, now in enumerate(lit):
        held += (0.02 * now - held) * (1.0 - np.exp(-1.0 / 9.0))
        excess[k] = held
    says = loose.box_witness(time_s, 10.0 + excess, np.full(len(time_s), 10.0), clear, longitude=-0.12)
    assert says[~cloudy & (hour >= 12) & (hour < 15)].mean() > 0.9
    assert not says[cloudy & (hour >= 12)].any()
    inner = (time_s % 86_400 >= 8.5 * 3600) & (time_s % 86_400 < 9.5 * 3600)
    assert not says[inner].any()
