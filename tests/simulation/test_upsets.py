"""Water on a bed and snow on the glass: heat is kept, and the sizes are those of a can and a shovel."""

import numpy as np
import pytest

from propstick.simulation.frame import FrameSpec
from propstick.simulation.garden import Garden
from propstick.simulation.upsets import WATER_J_KGK, snowed_in, watered

SPECS = [FrameSpec.draw(seed) for seed in range(6)]


@pytest.mark.parametrize("along", [0.0, 0.5])
def test_water_brings_its_heat_and_takes_that_of_what_it_drives_out(spring_week, along):
    """First law, layer by layer: gained heat is m c (poured - driven out below); 4186 J/kgK is water's."""
    garden = Garden(spring_week, SPECS)
    soil = garden.state.soil_c + np.linspace(4.0, 0.0, len(garden.state.soil_c))[:, None]
    heat = garden.state.heat_c.copy()
    heat[2:-1] = soil
    state = garden.state._replace(heat_c=heat)
    poured = np.full(6, 2.0)
    after = watered(state, garden.frames, poured_kg_m2=poured, water_c=2.0, along=along)
    gained = (garden.frames.soil_heat * (after.soil_c - soil)).sum(axis=0)
    expected = poured * garden.frames.floor * WATER_J_KGK * (2.0 - soil[-1])
    np.testing.assert_allclose(gained, expected, rtol=1e-9)
    assert (after.soil_c[0] < soil[0]).all()


def test_a_can_of_cold_water_cools_the_bed_and_then_its_drying_does(steady):
    """10 mm at 8 °C on a bed: the surface falls at once by degrees, and the wet bed stays cooler than its dry
    twin for hours, while the poured water grows less."""
    weather = steady(minutes=600, air_c=12.0, dew_c=4.0, dni=500.0, dhi=100.0)
    spec = FrameSpec(wet=0.2)
    dry, wet = Garden(weather, [spec]), Garden(weather, [spec])
    lid, cover = np.full(1, 0.1), np.zeros(1)
    for _ in range(240):
        dry.advance(lid, cover)
        wet.advance(lid, cover)
    before = float(wet.state.soil_c[0, 0])
    for _ in range(5):
        wet.state = watered(wet.state, wet.frames, poured_kg_m2=np.full(1, 2.0), water_c=8.0)
        wet.advance(lid, cover)
        dry.advance(lid, cover)
    assert float(wet.state.soil_c[0, 0]) < before - 3.0
    poured = float(wet.state.poured_kg_m2[0])
    assert 9.8 < poured < 10.0
    for _ in range(300):
        wet.advance(lid, cover)
        dry.advance(lid, cover)
    assert float(wet.state.soil_c[0, 0]) < float(dry.state.soil_c[0, 0]) - 1.0
    assert float(wet.state.vapour_kg_m3[0]) > float(dry.state.vapour_kg_m3[0])
    assert float(wet.state.poured_kg_m2[0]) < poured - 0.3


def test_heat_is_kept_while_poured_water_dries(spring_week):
    """The balance closes every minute as it does without water."""
    garden = Garden(spring_week, SPECS)
    garden.state = watered(garden.state, garden.frames, poured_kg_m2=np.full(6, 2.0), water_c=10.0)
    held = garden.frames.held_j(garden.state)
    for _ in range(300):
        garden.step(garden.time_s, np.zeros(6), np.zeros(6))
        now = garden.frames.held_j(garden.state)
        np.testing.assert_allclose(now - held, 60.0 * np.sum(garden.fluxes, axis=0), rtol=0.0, atol=1e-5)
        held = now


def test_water_of_no_weight_changes_nothing(spring_week):
    """The same temperatures to the last bit as without."""
    plain, empty = Garden(spring_week, SPECS), Garden(spring_week, SPECS)
    empty.state = watered(empty.state, empty.frames, poured_kg_m2=np.zeros(6), water_c=3.0)
    for _ in range(60):
        plain.advance(np.zeros(6), np.zeros(6))
        empty.advance(np.zeros(6), np.zeros(6))
    np.testing.assert_array_equal(plain.state.heat_c, empty.state.heat_c)


def test_too_much_at_once_is_refused(spring_week):
    """A layer cannot take on more heat than it holds."""
    garden = Garden(spring_week, SPECS)
    with pytest.raises(AssertionError, match="more slowly"):
        watered(garden.state, garden.frames, poured_kg_m2=np.full(6, 30.0), water_c=5.0)


def test_snow_on_the_glass_keeps_the_sun_off(steady):
    """20 kg/m² in bright frost: the snowed-in box hardly warms, its twin does by ten degrees and more."""
    weather = steady(minutes=120, air_c=-8.0, dew_c=-12.0, dni=600.0, dhi=80.0)
    garden = Garden(weather, [FrameSpec(), FrameSpec()])
    garden.state = snowed_in(garden.state, snow_kg_m2=np.array([20.0, 0.0]))
    for _ in range(120):
        garden.advance(np.zeros(2), np.zeros(2))
    snowed, bare = garden.state.air_c
    assert bare > snowed + 10.0
