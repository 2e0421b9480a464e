"""Hours of sun against pvlib and geometry; box and spot told apart only when it can be."""

from datetime import date

import numpy as np
import pytest

from propstick.garden import Obstacle
from propstick.growing.spots import Stay, hidden, shown_by, spot_day, sun_by_month, told_apart
from propstick.physics.sun import clear_sky_w_m2, solar_position

PLACE = {"latitude": 51.5, "longitude": -0.12, "zone": "Europe/London"}
WALL = Obstacle(bearing_from_deg=90.0, bearing_to_deg=270.0, height_deg=60.0)
TREE = Obstacle(bearing_from_deg=150.0, bearing_to_deg=210.0, height_deg=70.0, leafless_until=(5, 1))


def test_an_open_spot_has_the_whole_day():
    """On 20 March at 51.5° N: 11.95 h by FAO's length, 12.19 h by astral with refraction and disc."""
    found = spot_day((), date(2024, 3, 20), **PLACE)
    assert 11.8 <= found.sun_h <= 12.2
    assert found.share == 1.0


@pytest.mark.slow
def test_a_wall_to_the_south_leaves_what_pvlib_counts():
    """pvlib's positions of the same day, obstacle by hand: hours within ten minutes."""
    pvlib = pytest.importorskip("pvlib")
    pandas = pytest.importorskip("pandas")
    times = pandas.date_range("2024-04-15", "2024-04-16", freq="10min", tz="Europe/London", inclusive="left")
    sun = pvlib.solarposition.get_solarposition(times + pandas.Timedelta("5min"), 51.5, -0.12)
    up = sun.elevation > 0
    behind = (sun.azimuth >= 90) & (sun.azimuth <= 270) & (sun.elevation < 60)
    exact = float((up & ~behind).sum()) / 6
    found = spot_day((WALL,), date(2024, 4, 15), **PLACE)
    assert found.sun_h == pytest.approx(exact, abs=0.17)
    assert found.share < 0.2


def test_a_tree_lets_the_sun_through_until_it_leafs():
    before, after = (spot_day((TREE,), day, **PLACE) for day in (date(2024, 4, 30), date(2024, 5, 2)))
    assert before.sun_h == before.open_sun_h
    assert after.sun_h < after.open_sun_h - 2.0


def test_an_obstacle_across_north_is_one_obstacle():
    north = Obstacle(bearing_from_deg=300.0, bearing_to_deg=60.0, height_deg=20.0)
    seen = hidden(np.full(4, 10.0), np.array([350.0, 10.0, 61.0, 180.0]), (north,), day=date(2024, 6, 1))
    assert seen.tolist() == [True, True, False, False]


def test_the_months_follow_the_sun():
    months = sun_by_month((WALL,), year=2024, **PLACE)
    assert sorted(months) == list(range(1, 13))
    assert months[6].sun_h > months[12].sun_h


def lived(hours, *, days=20, shade=(), gain=0.02):
    """A box that warms by the sun with a memory of an hour, except in the shaded hours."""
    time_s = hours(days)
    elevation, _ = solar_position(time_s + 1800, 51.5, -0.12)
    sun = clear_sky_w_m2(elevation) * np.where(np.isin((time_s // 3600) % 24, shade), 0.1, 1.0)
    outside = 8.0 + 4.0 * np.sin(2 * np.pi * (time_s / 3600 - 9) / 24)
    excess, held = np.zeros(len(time_s)), 0.0
    for k, now in enumerate(sun):
        held += (gain * now - held) * 0.6
        excess[k] = held
    return time_s, outside + excess, outside


def test_a_shaded_morning_shows_as_shade_and_a_free_one_does_not(hours):
    free = shown_by(*lived(hours), latitude=51.5, longitude=-0.12)
    shaded = shown_by(*lived(hours, shade=(8, 9, 10)), latitude=51.5, longitude=-0.12)
    assert free.shaded == ()
    assert set(shaded.shaded) & {9, 10}
    assert not set(shaded.shaded) & {12, 13, 14, 15}
    assert shaded.sun_h < free.sun_h


def test_hours_are_named_by_the_clock_there(hours):
    shaded = shown_by(*lived(hours, shade=(9, 10)), latitude=51.5, longitude=-0.12, offset_s=3600)
    assert set(shaded.shaded) & {10, 11}


def test_a_probe_that_shows_no_sun_and_two_days_say_nothing(hours):
    time_s, _, outside = lived(hours)
    assert shown_by(time_s, outside + 0.2, outside, latitude=51.5, longitude=-0.12) is None
    assert shown_by(*lived(hours, days=2), latitude=51.5, longitude=-0.12) is None
    assert shown_by(time_s[:0], outside[:0], outside[:0], latitude=51.5, longitude=-0.12) is None


def test_a_tree_of_the_south_is_bare_in_its_own_winter():
    """Leafless until 20 September: bare in July and August, in leaf from then to the end of June."""
    tree = (Obstacle(bearing_from_deg=300.0, bearing_to_deg=60.0, height_deg=80.0, leafless_until=(9, 20)),)
    south = {"latitude": -43.5, "longitude": 172.6, "zone": "Pacific/Auckland"}
    hours = {m: spot_day(tree, date(2026, m, 15), **south) for m in range(1, 13)}
    bare = [m for m, one in hours.items() if one.sun_h == one.open_sun_h]
    assert bare == [7, 8, 9]


def stays(table, *, days=5, noise=0.0):
    rng = np.random.default_rng(4)
    box, spot = {"a": 1.2, "b": 0.8}, {"wall": 1.5, "tree": 0.6}
    return [
        Stay(box=b, spot=s, excess_c=8.0 * box[b] * spot[s] * float(np.exp(noise * rng.standard_normal())))
        for b, s in table
        for _ in range(days)
    ]


def test_one_pair_cannot_be_told_apart_and_says_so():
    found = told_apart(stays([("a", "wall"), ("b", "tree")]))
    assert found.spot == {}
    assert "cannot be told apart yet" in found.words


def test_after_a_swap_box_and_spot_are_told_apart():
    found = told_apart(stays([("a", "wall"), ("b", "tree"), ("a", "tree"), ("b", "wall")], noise=0.1))
    assert found.spot["wall"] / found.spot["tree"] == pytest.approx(1.5 / 0.6, rel=0.1)
    assert found.box["a"] / found.box["b"] == pytest.approx(1.2 / 0.8, rel=0.1)
    assert found.words.startswith("wall has the most sun")


def test_one_box_that_moved_is_enough_to_compare_two_spots():
    found = told_apart(stays([("a", "wall"), ("a", "tree")]))
    assert found.spot["wall"] / found.spot["tree"] == pytest.approx(2.5)


def test_a_day_in_passing_does_not_count_and_one_spot_is_nothing_to_compare():
    assert told_apart(stays([("a", "wall")])).spot == {}
    short = stays([("a", "wall"), ("b", "tree")]) + stays([("a", "tree")], days=1)
    assert "cannot be told apart yet" in told_apart(short).words
