"""What befalls a box that no weather explains: a can of water, snow or a mat that nobody tells of.

Each takes the state of all boxes and gives the state a moment later. What a probe does when it is moved
stands in `probes.py`.
"""

from __future__ import annotations

import numpy as np

from propstick.simulation.boxes import Frames, State
from propstick.units import FloatArray

WATER_J_KGK = 4186.0
_CRACKS_M = 0.1


def watered(
    state: State, frames: Frames, *, poured_kg_m2: FloatArray, water_c: FloatArray | float,
    along: FloatArray | float = 0.0,
) -> State:  # fmt: skip
    """The boxes after a can's worth of water; pour a minute's share each minute, 3 kg/m² at most.

    The bed holds as much water as it can: what comes in anywhere pushes the water below it down, layer by
    layer, and each layer takes on the temperature of what passes through. Heat is kept: what the water
    brings is what the layers gain and what runs off below. The surface is wet until it dries or drains.

    Args:
        poured_kg_m2: Water on each bed, 1 kg/m² is 1 mm, shape (b,).
        along: Share of it that runs down cracks, roots and the probe's cable into the top 9 cm alike
            instead of through the surface, shape (b,). Common knowledge of soils, the share is a guess.
    """
    soil, layers = state.soil_c, frames.layers
    reached = np.where(np.cumsum(layers, axis=0) < _CRACKS_M, layers, 0.0)
    direct = poured_kg_m2 * along * reached / reached.sum()
    direct[0] += poured_kg_m2 * (1.0 - np.asarray(along))
    passed = np.cumsum(direct, axis=0)
    from_above = np.concatenate([np.zeros_like(passed[:1]), passed[:-1]])
    warmer = np.concatenate([soil[:1], soil[:-1]])
    heat = state.heat_c.copy()
    per_kg = frames.floor * WATER_J_KGK / frames.soil_heat
    assert (per_kg * passed < 1.0).all(), "pour more slowly: a layer cannot take on more than its own heat"
    heat[2:-1] += per_kg * (direct * (water_c - soil) + from_above * (warmer - soil))
    held = np.zeros(len(frames)) if state.poured_kg_m2 is None else state.poured_kg_m2
    return state._replace(heat_c=heat, poured_kg_m2=held + poured_kg_m2)


def snowed_in(state: State, *, snow_kg_m2: FloatArray) -> State:
    """The boxes with so much more snow on the glass, shape (b,); 10 kg/m² is some 10 cm of fresh snow."""
    return state._replace(snow_kg_m2=state.snow_kg_m2 + snow_kg_m2, snowy=True)
