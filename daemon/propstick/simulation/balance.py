"""The heat and vapour balance of many boxes over one minute.

Air and pane hold so little heat that they are stepped implicitly together; soil and walls are slow
enough for explicit steps. Every flux is computed once and used on both sides, so heat is conserved to
rounding: what is stored changes by exactly what crosses the box's borders.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from propstick.simulation.frame import SOIL_LAYERS_M, FrameSpec
from propstick.simulation.ground import STEP_S, soil_step
from propstick.units import KELVIN_AT_0_C, FloatArray

SIGMA_W_M2_K4 = 5.670374419e-8
AIR_J_M3K = 1.2 * 1005.0
LATENT_J_KG = 2.48e6
MELT_J_KG = 3.34e5
GRAVITY_M_S2 = 9.81
_FILM_KG_M2 = 0.12
"""Water a pane holds before it drips; common practice, no source."""


class State(NamedTuple):
    """All a box remembers. Shapes (b,), soil (layers, b)."""

    air_c: FloatArray
    pane_c: FloatArray
    wall_c: FloatArray
    soil_c: FloatArray
    vapour_kg_m3: FloatArray
    film_kg_m2: FloatArray
    snow_kg_m2: FloatArray


class Drive(NamedTuple):
    """What acts on the boxes this minute; floats for the weather, arrays (b,) for the sun.

    Attributes:
        sun_in: Through the pane onto a square metre of floor; `sun_open` the same without a pane.
        sun_pane: Taken up by the pane itself per square metre of pane.
        ground_c: Open ground, shape (layers, 1); `deep_c` below it.
    """

    outside_c: float
    vapour_kg_m3: float
    wind_m_s: float
    sky_w_m2: float
    snow_kg_m2: float
    deep_c: float
    ground_c: FloatArray
    sun_in: FloatArray
    sun_open: FloatArray
    sun_pane: FloatArray


class Fluxes(NamedTuple):
    """Heat over the box's borders in this minute [W], positive inwards, and heat held after it [J]."""

    sun: FloatArray
    sky: FloatArray
    outer_air: FloatArray
    walls: FloatArray
    vent: FloatArray
    soil: FloatArray
    latent: FloatArray


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
        # Sideways to the open ground: round the edge, half the box's depth away, weaker further down.
        edge = 6.0 * np.sqrt(self.floor / 2.0)
        self.side = self.soil_conduct * edge * self.layers / (0.35 * np.sqrt(self.floor))
        self.probe = _depth_weights(of("probe_depth_m"))

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


def _depth_weights(depth_m: FloatArray) -> FloatArray:
    layers = np.array(SOIL_LAYERS_M)
    middle = np.cumsum(layers) - 0.5 * layers
    unit = np.eye(len(layers))
    return np.stack([np.interp(depth_m, middle, row) for row in unit])


def saturated_kg_m3(temperature_c: FloatArray) -> FloatArray:
    """Water that air can hold [kg/m³]: FAO-56 Eq. 11 and the gas law of water vapour (461.5 J/kgK)."""
    return 610.8 / 461.5 * np.exp(17.27 * temperature_c / (temperature_c + 237.3)) / (
        temperature_c + KELVIN_AT_0_C
    )  # fmt: skip


def stack_m3_s(area_m2: FloatArray, height_m: FloatArray, *, warm_c: FloatArray, cold_c: float) -> FloatArray:
    """Air exchanged both ways through one opening by warmth alone [m³/s]; 0 if not warmer inside.

    Source:
        ASHRAE Fundamentals (1997) ch. 25: Cd A √(2 g ΔH ΔT/Ti) with Cd = 0.40 + 0.0045 ΔT for two-way
        flow through one opening, as quoted on an engineering page.
    """
    excess = np.maximum(warm_c - cold_c, 0.0)
    speed = np.sqrt(2.0 * GRAVITY_M_S2 * height_m * excess / (warm_c + KELVIN_AT_0_C))
    return (0.40 + 0.0045 * excess) * area_m2 * speed


def advance(
    state: State, drive: Drive, frames: Frames, *, lid: FloatArray, cover: FloatArray
) -> tuple[State, Fluxes]:
    """One minute.

    Args:
        lid: Opening 0 to 1, shape (b,).
        cover: 1 where a blanket lies on the pane, shape (b,).

    Wind through an open lid adds to the stack as the root of squares: 0.025 A u, the single-sided rule
    of building practice. Cold air pools: a box colder than outside exchanges by wind alone.
    """
    f = frames
    outside, wind = drive.outside_c, drive.wind_m_s * f.shelter
    air, pane, top = state.air_c, state.pane_c, state.soil_c[0]
    covered = cover * (1.0 - lid)
    bare = f.bares * lid
    glazed = f.pane * (1.0 - bare)

    # Sun.
    clear = (1.0 - 0.97 * covered) * np.exp(-0.35 * state.snow_kg_m2)
    let_in = f.floor * f.takes * ((1.0 - bare) * clear * drive.sun_in + bare * drive.sun_open)
    sun_pane = glazed * clear * drive.sun_pane
    sun_top, sun_wall = f.to_surface * let_in, f.to_wall * let_in
    sun_air = let_in - sun_top - sun_wall

    # Air through chinks and lid.
    area = f.opening * lid
    stack = stack_m3_s(area, f.lid_height, warm_c=air, cold_c=outside)
    blown = 0.025 * area * wind
    exchange = f.leak + f.leak_wind * wind + np.sqrt(stack * stack + blown * blown)
    vent = AIR_J_M3K * exchange

    # Surface films. Free convection follows the fourth root of the difference.
    up = np.sqrt(np.sqrt(np.abs(top - air) + 0.05))
    in_top = f.floor * (1.2 + 1.6 * up + 1.5 * lid * np.minimum(wind, 4.0))
    in_film = 1.2 + 1.6 * np.sqrt(np.sqrt(np.abs(air - pane) + 0.05))
    in_pane = glazed / (1.0 / in_film + f.half)
    in_wall = 3.0 * f.wall_area
    out_film = 5.0 + 4.0 * wind
    mat = f.half + covered * f.mat
    out_pane = glazed / (1.0 / out_film + mat)

    # Long waves. The pane is black to them but for a film's share; a mat keeps the sky off.
    top_k, pane_k = top + KELVIN_AT_0_C, pane + KELVIN_AT_0_C
    ray = 0.88 * 4.0 * SIGMA_W_M2_K4 * np.power(0.5 * (top_k + pane_k), 3.0)
    top_pane = glazed * (1.0 - f.infrared) / (1.0 / ray + f.half)
    sky_ray = 0.9 * 4.0 * SIGMA_W_M2_K4 * np.power(pane_k, 3.0)
    sky_part = (1.0 - f.infrared) * (1.0 - 0.9 * covered)
    sky_pull = 0.9 * (drive.sky_w_m2 - SIGMA_W_M2_K4 * np.power(pane_k, 4.0))
    through = 1.0 / (1.0 + sky_ray * f.half)
    sky_link = glazed * sky_part * through * sky_ray
    sky_gain = glazed * sky_part * through * sky_pull
    open_sky = (f.pane * bare + glazed * f.infrared * (1.0 - 0.9 * covered)) * 0.95
    top_sky = open_sky * (drive.sky_w_m2 - SIGMA_W_M2_K4 * np.power(top_k, 4.0))

    # Vapour: soil gives it, the pane takes it, the wind carries it off. 1/1200 m/s per W/m²K (Lewis).
    can_top, can_pane = saturated_kg_m3(np.stack([top, pane]))
    vapour = state.vapour_kg_m3
    gives = in_top / AIR_J_M3K * f.wet
    takes = in_film * glazed / AIR_J_M3K * ((vapour > can_pane) | (state.film_kg_m2 > 0.0))
    room = f.volume / STEP_S
    new_vapour = (room * vapour + gives * can_top + takes * can_pane + exchange * drive.vapour_kg_m3) / (
        room + gives + takes + exchange
    )
    evaporated = gives * (can_top - new_vapour)
    condensed = np.maximum(takes * (new_vapour - can_pane), -state.film_kg_m2 * glazed / STEP_S)
    new_vapour = vapour + (evaporated - condensed - exchange * (new_vapour - drive.vapour_kg_m3)) / room
    carried = evaporated - condensed - room * (new_vapour - vapour)
    film = np.clip(state.film_kg_m2 + condensed * STEP_S / f.pane, 0.0, _FILM_KG_M2)
    dew = glazed * (1.0 - covered) * np.minimum(out_film, 15.0) / AIR_J_M3K
    dew = dew * np.maximum(drive.vapour_kg_m3 - can_pane, 0.0)

    # Snow lies until the pane is warm.
    fallen = drive.snow_kg_m2 * (1.0 - lid)
    snow = state.snow_kg_m2 + fallen
    melted = np.minimum(snow, np.maximum(pane, 0.0) * 0.5 * f.pane_heat / (f.pane * MELT_J_KG))
    melt = f.pane * melted * MELT_J_KG / STEP_S

    # Air and pane together, implicitly.
    air_rate, pane_rate = f.air_heat / STEP_S, f.pane_heat / STEP_S
    a11 = air_rate + in_top + in_pane + in_wall + vent
    a22 = pane_rate + in_pane + out_pane + top_pane + sky_link
    b1 = air_rate * air + in_top * top + in_wall * state.wall_c + vent * outside + sun_air
    b2 = (
        pane_rate * pane + out_pane * outside + top_pane * top + sky_gain + sky_link * pane + sun_pane
        + LATENT_J_KG * (condensed + dew) - melt
    )  # fmt: skip
    whole = a11 * a22 - in_pane * in_pane
    new_air = (b1 * a22 + in_pane * b2) / whole
    new_pane = (b2 * a11 + in_pane * b1) / whole

    # Walls and soil with the very same fluxes.
    wall_in = in_wall * (new_air - state.wall_c)
    wall_out = f.wall_area * f.wall_u * (outside - state.wall_c)
    new_wall = state.wall_c + STEP_S / f.wall_heat * (wall_in + wall_out + sun_wall)
    into_top = (
        sun_top + top_sky + in_top * (new_air - top) + top_pane * (new_pane - top) - LATENT_J_KG * evaporated
    )
    side = f.side * (drive.ground_c - state.soil_c)
    moved, from_below = soil_step(
        state.soil_c, into_top / f.floor, layers_m=f.layers, volume_j_m3k=f.soil_volume,
        conduct_w_mk=f.soil_conduct, bottom_c=drive.deep_c,
    )  # fmt: skip
    new_soil = moved + STEP_S / f.soil_heat * side
    fluxes = Fluxes(
        sun=sun_top + sun_wall + sun_air + sun_pane,
        sky=top_sky + sky_gain - sky_link * (new_pane - pane),
        outer_air=out_pane * (outside - new_pane),
        walls=wall_out,
        vent=vent * (outside - new_air),
        soil=f.floor * from_below + side.sum(axis=0),
        latent=LATENT_J_KG * (dew - carried) - MELT_J_KG * f.pane * fallen / STEP_S,
    )
    return State(new_air, new_pane, new_wall, new_soil, new_vapour, film, snow - melted), fluxes
