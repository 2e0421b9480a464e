"""Sun through a tilted pane against a printed table and plain geometry."""

import numpy as np

from propstick.garden import Obstacle
from propstick.simulation import glazing


def test_transmission_follows_the_table():
    """3.8 mm glass as a building library prints it: 0.845 at 0°, 0.809 at 50°, 0.649 at 70°, 0 at 90°."""
    share = glazing.transmission_share(np.array([0.0, 30.0, 50.0, 70.0, 80.0, 90.0, 120.0]))
    np.testing.assert_allclose(0.845 * share, [0.845, 0.839, 0.809, 0.649, 0.398, 0.0, 0.0], atol=1e-12)


def test_transmission_is_below_what_fresnel_leaves_a_clear_pane():
    """Fresnel's equations, index 1.526, two surfaces, nothing absorbed: an upper bound at every angle,
    and near in shape up to 60°."""
    angle = np.radians(np.array([10.0, 30.0, 50.0, 60.0, 70.0, 80.0]))
    inner = np.arcsin(np.sin(angle) / 1.526)
    s = (np.sin(inner - angle) / np.sin(inner + angle)) ** 2
    p = (np.tan(inner - angle) / np.tan(inner + angle)) ** 2
    clear = 0.5 * ((1 - s) / (1 + s) + (1 - p) / (1 + p))
    normal = (1 - 0.0434) / (1 + 0.0434)
    ours = glazing.transmission_share(np.degrees(angle))
    assert np.all(0.845 * ours < clear)
    np.testing.assert_allclose(ours[:4], clear[:4] / normal, atol=0.04)


def test_incidence_is_geometry():
    """A level pane sees the zenith distance; a pane tilted at the sun sees 0°."""
    up, south = np.array([35.0]), np.array([180.0])
    level = glazing.incidence_deg(up, south, tilt_deg=0.0, faces_deg=180.0)
    facing = glazing.incidence_deg(up, south, tilt_deg=55.0, faces_deg=180.0)
    away = glazing.incidence_deg(up, south, tilt_deg=55.0, faces_deg=0.0)
    np.testing.assert_allclose([level[0], facing[0], away[0]], [55.0, 0.0, 110.0], atol=1e-5)


def test_obstacles_shade_where_they_stand():
    """A wall over north hides the sun behind it and nothing else; a bare tree half hides it."""
    wall = Obstacle(bearing_from_deg=340.0, bearing_to_deg=20.0, height_deg=30.0)
    tree = Obstacle(bearing_from_deg=100.0, bearing_to_deg=140.0, height_deg=50.0, leafless_until=(4, 20))
    azimuth = np.array([350.0, 10.0, 30.0, 10.0, 120.0, 120.0])
    elevation = np.array([20.0, 20.0, 20.0, 40.0, 30.0, 30.0])
    leafless = np.array([[False] * 6, [False] * 5 + [True]])
    seen = glazing.beam_share(elevation, azimuth, obstacles=(wall, tree), leafless=leafless)
    assert seen.tolist()[:5] == [0.0, 0.0, 1.0, 1.0, 0.0]
    assert 0.4 < seen[5] < 0.7
    assert glazing.sky_view((wall, tree)) < glazing.sky_view(()) == 1.0
