"""The heat and vapour balance of many boxes over one minute.

Air and pane hold so little heat that they are stepped implicitly together; soil and walls are slow
enough for explicit steps. Every flux is computed once and used on both sides, so heat is conserved to
rounding: what is stored changes by exactly what crosses the box's borders.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from propstick.simulation.boxes import (
    AIR_J_M3K,
    LATENT_J_KG,
    MELT_J_KG,
    SIGMA_W_M2_K4,
    Drive,
    Frames,
    Lids,
    State,
)
from propstick.simulation.ground import STEP_S, soil_step
from propstick.units import KELVIN_AT_0_C, FloatArray

GRAVITY_M_S2 = 9.81
_SNOW_TAKES = 3.0
"""Sun taken up by old wet snow over what a bare pane takes up; common practice, no source."""
_FILM_KG_M2 = 0.12
"""Water a pane holds before it drips; common practice, no source."""
_WET_KG_M2 = 3.0
"""Poured water from which on a surface gives off as much as open water; common practice, no source."""
_DRAINS = 1.0 - 1.0 / (24.0 * 60.0)
"""What drainage leaves of it from minute to minute: a day's time constant; common practice, no source."""


class Fluxes(NamedTuple):
    """Heat over the box's borders in one minute [W], positive inwards; arrays (b,)."""

    sun: FloatArray
    sky: FloatArray
    outer_air: FloatArray
    walls: FloatArray
    vent: FloatArray
    soil: FloatArray
    latent: FloatArray


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


def advance(state: State, drive: Drive, frames: Frames, lids: Lids) -> tuple[State, Fluxes]:
    """One minute.

    Wind through an open lid adds to the stack as the root of squares. Cold air pools: a box colder than
    outside exchanges by wind alone.
    """
    f = frames
    heat = state.heat_c
    pane, air, top, wall = heat[0], heat[1], heat[2], heat[-1]
    outside = drive.outside_c

    # Sun.
    sun_in, sun_pane = lids.sun_in * drive.sun_in, lids.sun_pane * drive.sun_pane
    snow, melt, slid = state.snow_kg_m2, 0.0, 0.0
    snowy = state.snowy or drive.snow_kg_m2 > 0.0
    fallen = 0.0
    if snowy:
        fallen = drive.snow_kg_m2 * lids.snow
        snow, melt, slid = _snow(snow + fallen, pane_c=pane, frames=f)
        snowy = bool((snow > 1e-6).any())
        clear = np.exp(-0.35 * snow)
        sun_in, sun_pane = sun_in * clear, sun_pane * (clear + _SNOW_TAKES * (1.0 - clear))
    let_in = sun_in + lids.sun_open * drive.sun_open
    sun_top, sun_wall, sun_air = f.to_surface * let_in, f.to_wall * let_in, f.to_air * let_in

    # Air through chinks and lid.
    exchange = drive.leak_m3_s
    if lids.any_open:
        stack = stack_m3_s(lids.area, f.lid_height, warm_c=air, cold_c=outside)
        blown = drive.blown_m3_s * lids.lid
        exchange = exchange + np.sqrt(stack * stack + blown * blown)
    vent = AIR_J_M3K * exchange

    # Surface films: free convection follows the fourth root of the difference, pane-air and air-soil.
    in_film, in_top = 1.2 + 1.6 * np.sqrt(np.sqrt(np.abs(heat[1:3] - heat[:2]) + 0.05))
    in_top = f.floor * in_top
    if lids.any_open:
        in_top = in_top + drive.stir_w_k * lids.lid
    in_pane = lids.glazed / (1.0 / in_film + f.half)
    out_pane = lids.glazed / (drive.out_m2k_w + lids.out_half)

    # Long waves, linear in the pane that is sought. A⁴ - B⁴ = (A² + B²)(A + B)(A - B).
    kelvin = heat[0:3:2] + KELVIN_AT_0_C
    square = kelvin * kelvin
    glow = SIGMA_W_M2_K4 * square * square
    ray = lids.black * (square[0] + square[1]) * (kelvin[0] + kelvin[1])
    top_pane = lids.glazed_ray / (1.0 / ray + f.half)
    sky_ray = 4.0 * glow[0] / kelvin[0]
    sky_part = lids.sky_part / (1.0 + 0.9 * sky_ray * f.half)
    sky_link = sky_part * sky_ray
    sky_gain = sky_part * (drive.sky_w_m2 - glow[0])
    top_sky = lids.top_sky * (drive.sky_w_m2 - glow[1])

    # Vapour: soil gives it, the pane takes it, the wind carries it off. 1/1206 m/s per W/m²K (Lewis).
    can_pane, can_top = saturated_kg_m3(heat[0:3:2])
    vapour = state.vapour_kg_m3
    poured = state.poured_kg_m2
    gives = in_top * (f.gives if poured is None else _wetted(poured, f) / AIR_J_M3K)
    takes = in_film * lids.takes * ((vapour > can_pane) | (state.film_kg_m2 > 0.0))
    still = gives + takes + exchange + f.room
    wanted = (f.room * vapour + gives * can_top + takes * can_pane + exchange * drive.vapour_kg_m3) / still
    evaporated = gives * (can_top - wanted)
    condensed = np.maximum(takes * (wanted - can_pane), -state.film_kg_m2 * lids.film_rate)
    carried = exchange * (wanted - drive.vapour_kg_m3)
    new_vapour = vapour + (evaporated - condensed - carried) / f.room
    film = np.minimum(np.maximum(state.film_kg_m2 + condensed * lids.film_gain, 0.0), _FILM_KG_M2)
    dew = lids.dew * drive.out_wet_m_s * np.maximum(drive.vapour_kg_m3 - can_pane, 0.0)

    # Air and pane together, implicitly.
    a11 = f.air_rate + in_top + in_pane + f.in_wall + vent
    a22 = f.pane_rate + in_pane + out_pane + top_pane + sky_link
    b1 = f.air_rate * air + in_top * top + f.in_wall * wall + vent * outside + sun_air
    b2 = (
        (f.pane_rate + sky_link) * pane + out_pane * outside + top_pane * top + sky_gain + sun_pane
        + LATENT_J_KG * (condensed + dew) - melt
    )  # fmt: skip
    whole = a11 * a22 - in_pane * in_pane
    new_air = (b1 * a22 + in_pane * b2) / whole
    new_pane = (b2 * a11 + in_pane * b1) / whole

    # Walls and soil with the very same fluxes.
    wall_out = f.out_wall * (outside - wall)
    from_soil = in_top * (new_air - top) + top_pane * (new_pane - top)
    into_top = sun_top + top_sky + from_soil - LATENT_J_KG * evaporated
    side = f.side * (drive.ground_c - state.soil_c)
    moved, from_below = soil_step(
        state.soil_c, into_top / f.floor, per_c=f.soil_per_c, links=f.soil_links, last=f.soil_last,
        bottom_c=drive.deep_c,
    )  # fmt: skip
    new = np.empty_like(heat)
    new[0], new[1] = new_pane, new_air
    new[2:-1] = moved + f.soil_per_w * side
    new[-1] = wall + f.wall_per_w * (f.in_wall * (new_air - wall) + wall_out + sun_wall)
    fluxes = Fluxes(
        sun=let_in + sun_pane,
        sky=top_sky + sky_gain - sky_link * (new_pane - pane),
        outer_air=out_pane * (outside - new_pane),
        walls=wall_out,
        vent=vent * (outside - new_air),
        soil=f.floor * from_below + side.sum(axis=0),
        latent=LATENT_J_KG * (dew - carried) + MELT_J_KG / STEP_S * f.pane * (slid - fallen),
    )
    if poured is not None:
        poured = np.maximum(poured * _DRAINS - np.maximum(evaporated, 0.0) * STEP_S / f.floor, 0.0)
    return State(new, new_vapour, film, snow, snowy, poured), fluxes


def _wetted(poured_kg_m2: FloatArray, frames: Frames) -> FloatArray:
    """Wetness of the surface while poured water is in it: full while some millimetres are left."""
    return frames.wet + (1.0 - frames.wet) * np.minimum(poured_kg_m2 / _WET_KG_M2, 1.0)


def _snow(
    lying_kg_m2: FloatArray, *, pane_c: FloatArray, frames: Frames
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Snow left on the pane, heat its melting takes [W], and snow that slid off [kg/m²].

    Snow slides once a film of water carries it: one part in twenty a minute; common practice, no source.
    """
    warm = np.maximum(pane_c, 0.0)
    melted = np.minimum(lying_kg_m2, warm * 0.5 * frames.pane_heat / (frames.pane * MELT_J_KG))
    slid = (lying_kg_m2 - melted) * np.where(pane_c > 0.3, 0.05, 0.0)
    return lying_kg_m2 - melted - slid, frames.pane * melted * (MELT_J_KG / STEP_S), slid
