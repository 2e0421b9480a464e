"""What a simulated cold frame is made of, and how plausible ones are drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.garden import Glazing, Obstacle

SOIL_LAYERS_M = (0.010, 0.015, 0.025, 0.040, 0.060, 0.100, 0.150, 0.250)
"""Thickness of the soil layers from the surface down."""

U_FILM_RESISTANCE = 0.168
"""Inner and outer surface resistance contained in a published U [m²K/W]; building practice."""


@dataclass(frozen=True, kw_only=True)
class FrameSpec:
    """One cold frame. Defaults are those of a timber frame with a glass sash.

    Attributes:
        height_m: Mean inner height.
        u_w_m2k: Published U of the glazing, surface films included.
        light: Sun through the pane at normal incidence, dirt included.
        infrared: Share of long waves that pass (films).
        pane_j_m2k: Heat held by the pane.
        wall_u_w_m2k: Through the walls, from the middle of the wall outwards.
        wall_j_k: Heat held by all walls, stones and water cans in the box.
        leak_m3_h, leak_per_wind: Air through chinks: at rest, and added per m/s of wind over the box.
        lid_area_m2: Free opening with the lid fully open.
        lid_bares: Share of the glass that no longer covers the bed with the lid fully open.
        shelter: Wind at the box over wind in the open.
        cover_m2k_w: Resistance of the blanket or mat laid on at night.
        soil_j_m3k, soil_w_mk: Heat capacity and conductivity of the soil.
        wet: Wetness of the soil surface, 0 dry to 1.
        leaves_j_m2k: Heat held by leaves, pots and air-side clutter per floor.
        probe_depth_m: Depth of the soil probe.
        surface_share, wall_share: Of the sun let in, onto the soil and the walls; the rest warms leaves
            and so the air.
    """

    name: str = "box"
    floor_m2: float = 0.72
    height_m: float = 0.30
    glazing: Glazing = "glass"
    u_w_m2k: float = 5.8
    light: float = 0.80
    infrared: float = 0.0
    pane_j_m2k: float = 7500.0
    tilt_deg: float = 10.0
    faces_deg: float = 180.0
    obstacles: tuple[Obstacle, ...] = ()
    wall_u_w_m2k: float = 3.0
    wall_j_k: float = 25_000.0
    leak_m3_h: float = 0.25
    leak_per_wind: float = 0.25
    lid_area_m2: float = 0.40
    lid_height_m: float = 0.25
    lid_bares: float = 0.6
    shelter: float = 0.45
    cover_m2k_w: float = 0.25
    soil_j_m3k: float = 2.3e6
    soil_w_mk: float = 0.9
    wet: float = 0.5
    albedo: float = 0.18
    leaves_j_m2k: float = 6000.0
    probe_depth_m: float = 0.05
    surface_share: float = 0.70
    wall_share: float = 0.15

    @property
    def pane_resistance(self) -> float:
        """Resistance of the pane alone [m²K/W]."""
        return max(1.0 / self.u_w_m2k - U_FILM_RESISTANCE, 0.002)

    @property
    def wall_m2(self) -> float:
        """Area of the four walls, a box twice as long as deep."""
        deep = (self.floor_m2 / 2.0) ** 0.5
        return 6.0 * deep * self.height_m

    @classmethod
    def draw(cls, seed: int, *, name: str | None = None) -> FrameSpec:
        """A plausible box, deterministic by seed.

        Glazing and soil span published figures (single 5.7–6.8, twin wall 3.4–4.1 W/m²K; soils from
        peat to wet sand after de Vries 1963); the rest is common practice, no source.
        """
        rng = np.random.default_rng([0xF4A3E, seed])
        uniform = rng.uniform
        kind = str(rng.choice(["glass", "twin-wall", "film"], p=[0.55, 0.35, 0.10]))
        u, light, infrared, pane = {
            "glass": (uniform(5.5, 6.5), uniform(0.70, 0.84), 0.0, uniform(5600.0, 7600.0)),
            "twin-wall": (uniform(3.3, 4.1), uniform(0.66, 0.80), 0.0, uniform(1500.0, 2300.0)),
            "film": (uniform(6.3, 7.1), uniform(0.74, 0.88), uniform(0.2, 0.5), uniform(500.0, 1000.0)),
        }[kind]
        masonry = rng.random() < 0.25
        floor = uniform(0.5, 1.5)
        soil_j, soil_w = [(2.1e6, 0.30), (2.3e6, 0.9), (2.9e6, 1.4), (2.1e6, 1.9)][int(rng.integers(4))]
        return cls(
            name=name or f"box{seed}",
            floor_m2=floor,
            height_m=uniform(0.20, 0.42),
            glazing=kind,  # type: ignore[arg-type]
            u_w_m2k=u,
            light=light,
            infrared=infrared,
            pane_j_m2k=pane,
            tilt_deg=uniform(3.0, 28.0),
            faces_deg=180.0 + rng.normal(0.0, 30.0),
            obstacles=_draw_obstacles(rng),
            wall_u_w_m2k=uniform(3.0, 5.0) if masonry else uniform(1.5, 4.0),
            wall_j_k=floor * (uniform(80e3, 200e3) if masonry else uniform(12e3, 45e3)),
            leak_m3_h=floor * uniform(0.1, 0.8),
            leak_per_wind=floor * uniform(0.1, 0.9),
            lid_area_m2=floor * uniform(0.35, 0.75),
            lid_height_m=uniform(0.15, 0.4),
            lid_bares=uniform(0.4, 1.0),
            shelter=uniform(0.25, 0.7),
            cover_m2k_w=uniform(0.12, 0.4),
            soil_j_m3k=soil_j * uniform(0.9, 1.1),
            soil_w_mk=soil_w * uniform(0.8, 1.2),
            wet=uniform(0.15, 0.8),
            albedo=uniform(0.12, 0.25),
            leaves_j_m2k=uniform(3000.0, 12_000.0),
            probe_depth_m=uniform(0.025, 0.08),
            surface_share=uniform(0.60, 0.78),
            wall_share=uniform(0.08, 0.16),
        )


def _draw_obstacles(rng: np.random.Generator) -> tuple[Obstacle, ...]:
    """None to three things that stand about a garden: a house, a fence, a tree."""
    made = []
    for _ in range(int(rng.choice(4, p=[0.25, 0.35, 0.25, 0.15]))):
        middle, width = rng.uniform(60.0, 300.0), rng.uniform(15.0, 70.0)
        tree = rng.random() < 0.4
        made.append(
            Obstacle(
                bearing_from_deg=float((middle - width / 2.0) % 360.0),
                bearing_to_deg=float((middle + width / 2.0) % 360.0),
                height_deg=float(rng.uniform(8.0, 38.0)),
                leafless_until=(4, int(rng.integers(10, 30))) if tree else None,
            )
        )
    return tuple(made)
