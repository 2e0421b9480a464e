"""Heat of a box: conserved, and of a size that gardeners and handbooks would recognise."""

from dataclasses import replace

import numpy as np
import pytest

from propstick.simulation.balance import AIR_J_M3K, saturated_kg_m3, stack_m3_s
from propstick.simulation.frame import FrameSpec
from propstick.simulation.garden import Garden


@pytest.mark.parametrize("lid", [0.0, 0.1, 1.0])
@pytest.mark.parametrize("cover", [0.0, 1.0])
def test_heat_is_conserved(spring_week, lid, cover):
    """First law: the change of stored heat is what crossed the borders, every minute of a day."""
    specs = [FrameSpec.draw(seed) for seed in range(12)]
    garden = Garden(spring_week, specs)
    held = garden.frames.held_j(garden.state)
    lids, covers = np.full(12, lid), np.full(12, cover)
    for _ in range(600):
        garden.step(garden.time_s, lids, covers)
        crossed = 60.0 * np.sum(garden.fluxes, axis=0)
        now = garden.frames.held_j(garden.state)
        np.testing.assert_allclose(now - held, crossed, rtol=0.0, atol=1e-5)
        held = now


def test_heat_is_conserved_under_snow(steady):
    """The same while snow falls, melts and slides."""
    cold = steady(minutes=180, air_c=-2.0, dew_c=-3.0, rain=2.0)
    sunny = steady(minutes=180, air_c=4.0, dew_c=-1.0, dni=700.0, dhi=80.0)
    weather = type(cold)(
        **{
            key: np.concatenate([getattr(cold, key), getattr(sunny, key) + shift])
            for key in vars(cold)
            for shift in [180 * 60 if key == "time_s" else 0]
        }
    )
    garden = Garden(weather, [FrameSpec(tilt_deg=20.0)])
    held, most = garden.frames.held_j(garden.state), 0.0
    for _ in range(360):
        garden.step(garden.time_s, np.zeros(1), np.zeros(1))
        now = garden.frames.held_j(garden.state)
        np.testing.assert_allclose(now - held, 60.0 * np.sum(garden.fluxes, axis=0), rtol=0.0, atol=1e-5)
        held, most = now, max(most, float(garden.state.snow_kg_m2[0]))
    assert most == pytest.approx(6.0, rel=0.05)
    assert garden.state.snow_kg_m2[0] < 0.1


@pytest.mark.parametrize(
    ("excess", "small", "large"), [(5.0, 2.6, 26.0), (10.0, 3.9, 39.0), (20.0, 6.1, 61.0)]
)
def test_stack_carries_the_worked_figures(excess, small, large):
    """ASHRAE Fundamentals (1997) ch. 25 Eq. 37–38 worked by hand: W/K through 0.02 and 0.2 m², ΔH 0.2 m,
    295 K inside."""
    warm = np.full(2, 295.0 - 273.15)
    flow = stack_m3_s(np.array([0.02, 0.2]), np.full(2, 0.2), warm_c=warm, cold_c=float(warm[0] - excess))
    np.testing.assert_allclose(AIR_J_M3K * flow, [small, large], rtol=0.015)
    assert stack_m3_s(np.array([0.2]), np.array([0.2]), warm_c=np.array([5.0]), cold_c=8.0)[0] == 0.0


def test_saturated_air_holds_what_tables_say():
    """Steam tables: 4.85 g/m³ at 0 °C, 9.40 at 10 °C, 17.3 at 20 °C, 30.4 at 30 °C."""
    grams = 1000.0 * saturated_kg_m3(np.array([0.0, 10.0, 20.0, 30.0]))
    np.testing.assert_allclose(grams, [4.85, 9.40, 17.3, 30.4], rtol=0.005)


@pytest.mark.slow
def test_steady_loss_is_the_published_u(steady):
    """A box warmed by a known heat settles so that pane loss over area and difference is near the U it
    was given: 5.8 W/m²K is stated with radiation to surroundings as warm as the air, wind about 4 m/s."""
    sky = 5.670374419e-8 * 278.15**4
    weather = steady(minutes=3 * 1440, air_c=5.0, wind=4.0, sky=sky, dhi=150.0)
    spec = FrameSpec(leak_m3_h=0.0, leak_per_wind=0.0, wet=0.0, u_w_m2k=5.8, shelter=1.0)
    garden = Garden(weather, [spec])
    for _ in range(len(weather)):
        garden.step(garden.time_s, np.zeros(1), np.zeros(1))
    lost = -(garden.fluxes.sky + garden.fluxes.outer_air)[0] - 0.08 * 150.0 * garden.frames.pane[0]
    u = lost / garden.frames.pane[0] / (garden.state.air_c[0] - 5.0)
    assert 4.6 < u < 7.5


def _after(weather, specs, *, lid=0.0, cover=0.0, soil_c):
    """The boxes at the end of a weather, begun over soil of that temperature."""
    garden = Garden(weather, specs)
    garden.state.heat_c[2:-1] = soil_c
    lids, covers = np.full(len(specs), lid), np.full(len(specs), cover)
    for _ in range(len(weather)):
        now = garden.step(garden.time_s, lids, covers)
    return garden, now


def test_shut_box_by_night(steady):
    """A few kelvin above outside without sun (Univ. of Missouri extension G6965: at most 3–6 K), here
    under cloud."""
    night = steady(minutes=600, air_c=4.0, dew_c=1.0, wind=0.5, sky=325.0)
    _, now = _after(night, [FrameSpec()], soil_c=9.0)
    assert 0.0 < now.air_c[0] - 4.0 < 6.0


def test_shut_box_by_day(steady):
    """In full sun, shut and still, above the 6–11 K one gardener saw in an aired frame; lid right up,
    near outside."""
    day = steady(minutes=180, air_c=10.0, dew_c=3.0, wind=1.0, dni=800.0, dhi=100.0)
    shut, propped, wide = (
        _after(day, [FrameSpec()], lid=lid, soil_c=11.0)[1].air_c[0] - 10.0 for lid in (0.0, 0.1, 1.0)
    )
    assert 10.0 < shut < 28.0
    assert 5.0 < propped < 0.8 * shut
    assert 0.0 < wide < 5.0


def test_order_of_temperatures_on_a_clear_night(steady):
    """Pane below the air outside, soil above the air within (radiation frost; common practice, no source)."""
    night = steady(minutes=400, air_c=0.0, dew_c=-9.0, wind=0.3, sky=200.0)
    garden, now = _after(night, [FrameSpec()], soil_c=6.0)
    assert garden.state.pane_c[0] < -0.5
    assert garden.state.pane_c[0] < now.air_c[0] < now.surface_c[0]


def test_a_mat_and_twin_wall_keep_the_night_off(steady):
    """More resistance over the same bed is a warmer night; common practice, no source."""
    night = steady(minutes=480, air_c=-2.0, dew_c=-8.0, wind=1.0, sky=220.0)
    both = [FrameSpec(), replace(FrameSpec(), u_w_m2k=3.5, pane_j_m2k=1900.0)]
    bare = _after(night, both, soil_c=8.0)[1].air_c
    under = _after(night, both, cover=1.0, soil_c=8.0)[1].air_c
    assert bare[1] > bare[0] + 0.3
    assert np.all(under > bare + 0.4)
