"""Sun on and through a tilted pane, with walls and trees in the way."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from propstick.garden import Obstacle
from propstick.units import BoolArray, FloatArray

_ANGLES_DEG = np.array([0.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0])
_SHARE = np.array([0.845, 0.839, 0.830, 0.809, 0.761, 0.649, 0.398, 0.0]) / 0.845
"""3.8 mm glass, calculated by a window program, as a building library prints it."""

DIFFUSE_SHARE = 0.765 / 0.845
"""Hemispherical over normal transmission of the same pane; same source."""

BARE_TREE_LETS_THROUGH = 0.55
"""Common practice, no source."""


def transmission_share(incidence_deg: FloatArray) -> FloatArray:
    """Transmission at that angle over transmission at normal incidence; 0 beyond 90°."""
    return np.interp(incidence_deg, _ANGLES_DEG, _SHARE, right=0.0)


def incidence_deg(
    elevation_deg: FloatArray, azimuth_deg: FloatArray, *, tilt_deg: float, faces_deg: float
) -> FloatArray:
    """Angle between the sun and the pane's normal [°]."""
    up, tilt = np.radians(elevation_deg), np.radians(tilt_deg)
    turn = np.radians(np.asarray(azimuth_deg) - faces_deg)
    cosine = np.sin(up) * np.cos(tilt) + np.cos(up) * np.sin(tilt) * np.cos(turn)
    return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))


def beam_share(
    elevation_deg: FloatArray, azimuth_deg: FloatArray, *, obstacles: Sequence[Obstacle], leafless: BoolArray
) -> FloatArray:
    """Share of the beam that reaches the box past its obstacles, 0–1.

    Args:
        leafless: Shape (obstacles, n): whether that tree is bare at that minute.
    """
    out = np.ones_like(elevation_deg)
    for obstacle, bare in zip(obstacles, leafless, strict=True):
        width = (obstacle.bearing_to_deg - obstacle.bearing_from_deg) % 360.0
        within = (azimuth_deg - obstacle.bearing_from_deg) % 360.0 <= width
        # The sun's disc is half a degree wide: a shadow's edge takes about two minutes to pass.
        shaded = within * np.clip((obstacle.height_deg - elevation_deg) / 0.5 + 0.5, 0.0, 1.0)
        out = np.minimum(out, 1.0 - shaded * np.where(bare, 1.0 - BARE_TREE_LETS_THROUGH, 1.0))
    return out


def sky_view(obstacles: Sequence[Obstacle]) -> float:
    """Share of the sky's diffuse light on the level that the obstacles leave, leaves or none."""
    hidden = sum(
        (o.bearing_to_deg - o.bearing_from_deg) % 360.0 / 360.0 * np.sin(np.radians(o.height_deg)) ** 2
        for o in obstacles
    )
    return float(max(1.0 - hidden, 0.1))
