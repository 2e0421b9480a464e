"""The demonstration garden: something happens within its first day."""

import numpy as np
import pytest

from propstick.simulation.people import Nobody
from propstick.simulation.scenario import SILENT_FROM_S, START_S, spring
from propstick.times import local


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2])
def test_first_day_has_a_cold_night_a_scorching_noon_and_a_silent_probe(seed):
    """From the evening on, lids shut: near or below freezing outside, 27 °C passed inside, one probe gone."""
    scenario = spring(seed=seed, days=1)
    play = scenario.play(Nobody(3))
    rows = []
    while not play.over:
        rows.append(play.step())
    assert rows[0].now.time_s == START_S + 60
    assert len(rows) == 1440
    assert local(START_S, scenario.garden.site.zone).hour == 18
    air = np.array([row.now.air_c for row in rows])
    outside = np.array([row.now.outside_air_c for row in rows])
    assert outside[:840].min() < 1.5
    assert air[:840].min() < 2.0
    assert air[840:].max(axis=0).max() > 30.0
    quiet = [len(row.sensed.raw_c) - np.isfinite(row.sensed.raw_c).sum() for row in rows]
    assert quiet[(SILENT_FROM_S - START_S) // 60 - 2] == 0
    assert quiet[-1] == 1


@pytest.mark.slow
def test_same_seed_same_play():
    """Equal bits minute by minute."""
    one, two = (spring(seed=3, days=0.1).play() for _ in range(2))
    while not one.over:
        a, b = one.step(), two.step()
        np.testing.assert_array_equal(a.sensed.raw_c, b.sensed.raw_c)
        np.testing.assert_array_equal(a.now.air_c, b.now.air_c)


def test_garden_and_truth_name_the_same_things():
    """Every probe the engine is told of is simulated, in a box that exists; ids are 1-wire ids."""
    scenario = spring(days=0.1)
    garden = scenario.garden
    assert [p.id for p in garden.probes] == [p.id for p in scenario.probes]
    assert len({p.id for p in garden.probes}) == 12
    assert all(p.id.startswith("28-") and len(p.id) == 15 for p in garden.probes)
    assert {p.box for p in garden.probes} == {*garden.box_names, "outside"}
    spots = {spot.name: spot.obstacles for spot in garden.spots}
    for box, spec in zip(garden.boxes, scenario.specs, strict=True):
        assert spots[box.spot] == spec.obstacles
        assert (box.name, box.floor_m2, box.glazing, box.tilt_deg, box.faces_deg) == (
            spec.name, spec.floor_m2, spec.glazing, spec.tilt_deg, spec.faces_deg,
        )  # fmt: skip
