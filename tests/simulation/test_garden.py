"""Stepping, batch and plausibility of whole runs."""

import numpy as np
import pytest

from propstick.simulation.frame import FrameSpec
from propstick.simulation.garden import Garden, run


@pytest.mark.slow
def test_stepping_is_the_batch_to_the_last_bit(spring_week):
    """Lids that move, covers that come and go: one minute at a time or all at once."""
    specs = [FrameSpec()] + [FrameSpec.draw(seed) for seed in range(5)]
    n = len(spring_week)
    rng = np.random.default_rng(2)
    lid = np.repeat(rng.choice([0.0, 0.1, 1.0], size=(n // 60, 6)), 60, axis=0)
    cover = np.repeat(rng.choice([0.0, 1.0], size=(n // 240, 6)), 240, axis=0)
    whole = run(spring_week, specs, lid, cover)
    garden = Garden(spring_week, specs)
    for row, told in enumerate(whole.nows()):
        now = garden.step(garden.time_s, lid[row], cover[row])
        assert now.time_s == told.time_s
        for name in ("air_c", "soil_c", "surface_c", "sun_w_m2", "outside_air_c", "outside_soil_c"):
            np.testing.assert_array_equal(getattr(now, name), getattr(told, name), err_msg=name)


def test_minutes_come_in_order(spring_week):
    """A minute that is not the next one is refused."""
    garden = Garden(spring_week, [FrameSpec()])
    with pytest.raises(ValueError, match="expected"):
        garden.step(garden.time_s + 60, np.zeros(1), np.zeros(1))


@pytest.mark.slow
def test_a_box_does_not_depend_on_its_neighbours(spring_week):
    """One box alone is the same as among others."""
    specs = [FrameSpec.draw(seed) for seed in range(4)]
    among = run(spring_week, specs, 0.1, 0.0)
    alone = run(spring_week, specs[2:3], 0.1, 0.0)
    np.testing.assert_array_equal(among.air_c[:, 2], alone.air_c[:, 0])


@pytest.mark.slow
def test_drawn_boxes_live_like_cold_frames(spring_week):
    """Over a March week, shut: never an impossible temperature; nights warmer than outside for most boxes;
    days well above outside; soil at the probe swings less than the air (common practice, no source)."""
    specs = [FrameSpec.draw(seed) for seed in range(18)]
    traces = run(spring_week, specs, 0.0, 0.0)
    air, out = traces.air_c[1440:], traces.outside_air_c[1440:]
    assert -20.0 < air.min() < air.max() < 65.0
    day = air.reshape(-1, 1440, 18)
    outside = out.reshape(-1, 1440)
    assert np.median(day.min(axis=1) - outside.min(axis=1)[:, None]) > 0.3
    assert np.median((day.max(axis=1) - outside.max(axis=1)[:, None]).max(axis=0)) > 8.0
    soil = traces.soil_c[1440:].reshape(-1, 1440, 18)
    share = np.ptp(soil, axis=1).mean(axis=0) / np.ptp(day, axis=1).mean(axis=0)
    assert share.max() < 1.0
    assert np.median(share) < 0.7


def test_draws_stay_within_published_glazing():
    """U of single 5.5–6.8 (film 7.1), of twin wall 3.3–4.1 W/m²K; floors 0.5 to 1.5 m²; equal by seed."""
    drawn = [FrameSpec.draw(seed) for seed in range(60)]
    spans = {"glass": (5.5, 6.8), "film": (6.0, 7.1), "twin-wall": (3.3, 4.1)}
    assert {spec.glazing for spec in drawn} == set(spans)
    for spec in drawn:
        low, high = spans[spec.glazing]
        assert low <= spec.u_w_m2k <= high
        assert 0.5 <= spec.floor_m2 <= 1.5
    assert FrameSpec.draw(7) == drawn[7]
    assert FrameSpec.draw(8) != drawn[7]
