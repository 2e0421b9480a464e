"""Many boxes as arrays: what they are made of, what they remember, what acts on them, how lids stand."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from propstick.simulation.frame import SOIL_LAYERS_M, FrameSpec
from propstick.simulation.ground import STEP_S, depth_weights, soil_column
from propstick.units import FloatArray

SIGMA_W_M2_K4 = 5.670374419e-8
AIR_J_M3K = 1.2 * 1005.0
LATENT_J_KG = 2.48e6
MELT_J_KG = 3.34e5


class State(NamedTuple):
    """All a box remembers.

    Attributes:
        heat_c: Temperatures, shape (11, b): pane, air, eight layers of soil from the surface, wall. The
            order lets the balance treat neighbours in one operation.
        vapour_kg_m3, film_kg_m2, snow_kg_m2: In the air, inside on the pane, outside on it; shape (b,).
        snowy: Whether any pane carries snow.
        poured_kg_m2: Water poured on the bed that has neither dried up nor drained, shape (b,); None: none
            was ever poured.
    """

    heat_c: FloatArray
    vapour_kg_m3: FloatArray
    film_kg_m2: FloatArray
    snow_kg_m2: FloatArray
    snowy: bool = False
    poured_kg_m2: FloatArray | None = None

    @property
    def pane_c(self) -> FloatArray:
        """The pane [°C]."""
        return self.heat_c[0]

    @property
    def air_c(self) -> FloatArray:
        """The air [°C]."""
        return self.heat_c[1]

    @property
    def soil_c(self) -> FloatArray:
        """Soil from the surface down, shape (layers, b) [°C]."""
        return self.heat_c[2:-1]

    @property
    def wall_c(self) -> FloatArray:
        """The walls [°C]."""
        return self.heat_c[-1]


class Drive(NamedTuple):
    """What acts on the boxes this minute: floats of the weather, arrays (b,) of each box.

    Attributes:
        ground_c: Open ground, shape (layers, 1); `deep_c` below it.
        sun_in, sun_open: Sun taken up inside with the pane before it, and without [W].
        sun_pane: Sun taken up by the pane [W/m² of pane].
        leak_m3_s: Air through chinks.
        blown_m3_s: Air the wind drives through the lid wide open.
        stir_w_k: What the wind adds to the soil's exchange with the lid wide open.
        out_m2k_w: Resistance of the pane's outer surface.
        out_wet_m_s: Speed at which that surface takes up dew.
    """

    outside_c: float
    vapour_kg_m3: float
    sky_w_m2: float
    snow_kg_m2: float
    deep_c: float
    ground_c: FloatArray
    sun_in: FloatArray
    sun_open: FloatArray
    sun_pane: FloatArray
    leak_m3_s: FloatArray
    blown_m3_s: FloatArray
    stir_w_k: FloatArray
    out_m2k_w: FloatArray
    out_wet_m_s: FloatArray


class Frames:
    """The constants of many boxes as arrays (b,)."""

    def __init__(self, specs: tuple[FrameSpec, ...]) -> None:
        def of(name: str) -> FloatArray:
            return np.array([float(getattr(spec, name)) for spec in specs])

        self.specs = specs
        self.floor = of("floor_m2")
        # A sloping pane is larger than the floor it covers; frame bars are not.
        self.pane = self.floor * 0.95 / np.cos(np.radians(of("tilt_deg")))
        self.pane_heat = self.pane * of("pane_j_m2k")
        self.half = 0.5 * of("pane_resistance")
        self.infrared = of("infrared")
        self.wall_area = of("wall_m2")
        self.wall_u = of("wall_u_w_m2k")
        self.wall_heat = of("wall_j_k")
        self.volume = self.floor * of("height_m")
        self.air_heat = self.volume * AIR_J_M3K + self.floor * of("leaves_j_m2k")
        self.leak = of("leak_m3_h") / 3600.0
        self.leak_wind = of("leak_per_wind") / 3600.0
        self.opening = of("lid_area_m2")
        self.lid_height = of("lid_height_m")
        self.bares = of("lid_bares")
        self.shelter = of("shelter")
        self.mat = of("cover_m2k_w")
        self.wet = of("wet")
        self.takes = 1.0 - of("albedo")
        self.to_surface = of("surface_share")
        self.to_wall = of("wall_share")
        self.layers = np.array(SOIL_LAYERS_M)[:, None]
        self.soil_volume = of("soil_j_m3k")
        self.soil_conduct = of("soil_w_mk")
        self.soil_heat = self.soil_volume * self.layers * self.floor
        self.soil_per_c, self.soil_links, self.soil_last = soil_column(
            self.layers, volume_j_m3k=self.soil_volume, conduct_w_mk=self.soil_conduct
        )
        # Sideways to the open ground: round the edge, half the box's depth away, weaker further down.
        edge = 6.0 * np.sqrt(self.floor / 2.0)
        self.side = self.soil_conduct * edge * self.layers / (0.35 * np.sqrt(self.floor))
        self.probe = depth_weights(of("probe_depth_m"))
        self.air_rate, self.pane_rate = self.air_heat / STEP_S, self.pane_heat / STEP_S
        self.room = self.volume / STEP_S
        self.in_wall = 3.0 * self.wall_area
        self.out_wall = self.wall_area * self.wall_u
        self.wall_per_w, self.soil_per_w = STEP_S / self.wall_heat, STEP_S / self.soil_heat
        self.to_air = 1.0 - self.to_surface - self.to_wall
        self.gives = self.wet / AIR_J_M3K

    def __len__(self) -> int:
        return len(self.specs)

    def held_j(self, state: State) -> FloatArray:
        """Heat held by each box, that of its vapour included, above 0 °C and dry air [J]."""
        return (
            self.air_heat * state.air_c + self.pane_heat * state.pane_c + self.wall_heat * state.wall_c
            + (self.soil_heat * state.soil_c).sum(axis=0)
            + LATENT_J_KG * self.volume * state.vapour_kg_m3
            - MELT_J_KG * self.pane * state.snow_kg_m2
        )  # fmt: skip

    def at_probe(self, soil_c: FloatArray) -> FloatArray:
        """Soil at the depth of each box's probe [°C]."""
        return (self.probe * soil_c).sum(axis=0)


class Lids:
    """What follows from the opening and the cover of each box alone; made anew only when a hand moves.

    Args:
        lid: Opening 0 to 1, shape (b,).
        cover: 1 where a blanket lies on the pane, shape (b,). With the lid off it lies beside the box.
    """

    def __init__(self, frames: Frames, *, lid: FloatArray, cover: FloatArray) -> None:
        f = frames
        covered = cover * (1.0 - lid)
        bare = f.bares * lid
        self.lid = lid
        self.any_open = bool(lid.any())
        self.area = f.opening * lid
        self.glazed = f.pane * (1.0 - bare)
        self.sun_in = (1.0 - bare) * (1.0 - 0.97 * covered)
        self.sun_open = bare
        self.sun_pane = self.glazed * (1.0 - 0.97 * covered)
        self.out_half = f.half + covered * f.mat
        self.black = 0.88 * SIGMA_W_M2_K4
        self.glazed_ray = self.glazed * (1.0 - f.infrared)
        self.sky_part = 0.9 * self.glazed_ray * (1.0 - 0.9 * covered)
        self.top_sky = 0.95 * (f.pane * bare + self.glazed * f.infrared * (1.0 - 0.9 * covered))
        self.takes = self.glazed / AIR_J_M3K
        self.film_rate = self.glazed / STEP_S
        self.film_gain = STEP_S / self.glazed
        self.dew = self.glazed * (1.0 - covered)
        self.snow = 1.0 - lid
