"""The soil column against the analytical wave in a half-space."""

import numpy as np
import pytest

from propstick.simulation.frame import SOIL_LAYERS_M
from propstick.simulation.ground import STEP_S, open_ground, soil_column, soil_step


@pytest.mark.parametrize(
    ("volume", "conduct", "at_10_cm"),
    [(2.27e6, 0.9, 0.38), (2.12e6, 2.1, 0.55)],
    ids=["clay", "moist sand"],
)
def test_daily_wave_dies_down_as_theory_says(volume, conduct, at_10_cm):
    """Damping depth √(2κ/ω): share of the daily swing left between depths, and its lag.

    Soils of de Vries (1963) as in Moene and van Dam (2014), Table 2.2: clay at water content 0.2 leaves
    38 % of the swing at 10 cm, sand at 0.2 leaves 55 %.
    """
    layers = np.array(SOIL_LAYERS_M)
    per_c, links, last = soil_column(layers, volume_j_m3k=volume, conduct_w_mk=conduct)
    soil = np.full(len(layers), 10.0)
    days, minutes = 12, 1440
    flux = 100.0 * np.sin(2.0 * np.pi * np.arange(days * minutes) / minutes)
    kept = np.empty((minutes, len(layers)))
    for row, into in enumerate(flux.tolist()):
        soil, _ = soil_step(soil, into, per_c=per_c, links=links, last=last, bottom_c=10.0)
        if row >= (days - 1) * minutes:
            kept[row - (days - 1) * minutes] = soil
    middle = np.cumsum(layers) - 0.5 * layers
    wave = np.exp(-2j * np.pi * np.arange(minutes) / minutes) @ kept * 2.0 / minutes
    swing, lag = np.abs(wave), -np.angle(wave / wave[0])
    damping = np.sqrt(2.0 * conduct / volume / (2.0 * np.pi / 86_400.0))
    expected = np.exp(-(middle - middle[0]) / damping)
    upper = middle < 0.2
    np.testing.assert_allclose(swing[upper] / swing[0], expected[upper], rtol=0.06)
    np.testing.assert_allclose(lag[upper], ((middle - middle[0]) / damping)[upper], atol=0.12)
    share = np.interp(0.10 + middle[0], middle, swing / swing[0])
    assert share == pytest.approx(at_10_cm, abs=0.03)


def test_column_keeps_its_heat():
    """What flows in at the top and bottom is what the layers gain, to rounding."""
    layers = np.array(SOIL_LAYERS_M)
    per_c, links, last = soil_column(layers, volume_j_m3k=2.3e6, conduct_w_mk=0.9)
    before = np.linspace(18.0, 6.0, len(layers))
    after, below = soil_step(before, 120.0, per_c=per_c, links=links, last=last, bottom_c=7.0)
    gained = (2.3e6 * layers * (after - before)).sum()
    assert gained == pytest.approx(STEP_S * (120.0 + below), abs=1e-6)


def test_ground_knows_only_the_weather_so_far(spring_week):
    """Cutting the weather changes nothing before the cut, but for the guess of the start."""
    short = type(spring_week)(**{k: v[: 4 * 1440] for k, v in vars(spring_week).items()})
    whole, cut = open_ground(spring_week), open_ground(short)
    np.testing.assert_array_equal(whole.probe_c[: 4 * 1440], cut.probe_c)
