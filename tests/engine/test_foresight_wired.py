"""With the boxes' models in the loop: however rows are cut, and wherever they end, the same is foreseen."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from propstick.blocks import Block
from propstick.codec import to_text
from propstick.engine import snapshot
from propstick.engine.pipeline import advance, begin
from propstick.simulation.scenario import spring

ROWS = 3600
FEW = settings(max_examples=6, deadline=None, derandomize=True)
KINDS = ("changes", "notices", "briefs", "heat", "nights", "days", "lids")

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def world():
    """The demonstration garden, and two and a half days of its readings."""
    scenario = spring(seed=2, days=2.5)
    play = scenario.play()
    minutes = []
    while not play.over:
        minutes.append(play.step().sensed)
    values = np.stack([minute.raw_c for minute in minutes]).round(2)
    flags = np.stack([minute.flags for minute in minutes])
    ids = tuple(probe.id for probe in scenario.probes)
    block = Block(minutes[0].time_s, 60, ids, values, flags)
    assert len(block) >= ROWS
    return scenario.garden, block


@pytest.fixture(scope="module")
def whole(world):
    garden, block = world
    return fed(begin(garden), block, [])


def fed(state, block, cuts):
    """The state at the end, and all that was said, in order, by kind."""
    said = {kind: [] for kind in KINDS}
    for first, stop in itertools.pairwise([0, *sorted(cuts), len(block)]):
        state, outcome = advance(state, block.cut(first, stop))
        for kind in KINDS:
            said[kind].extend(getattr(outcome, kind))
    return state, said


def words(said):
    return {kind: [to_text(one) for one in items] for kind, items in said.items()}


def test_there_is_something_to_foresee(whole):
    """Nights, days, heat and briefs were all issued, so that the next tests compare something."""
    _, said = whole
    assert all(said[kind] for kind in ("heat", "nights", "days", "briefs", "notices"))


@FEW
@given(cuts=st.sets(st.integers(1, ROWS - 1), min_size=1, max_size=30))
def test_chopping_changes_no_forecast(world, whole, cuts):
    garden, block = world
    state, said = fed(begin(garden), block, cuts)
    assert words(said) == words(whole[1])
    assert to_text(state) == to_text(whole[0])


@FEW
@given(end=st.integers(900, ROWS - 1))
def test_a_forecast_knows_nothing_of_later_rows(world, whole, end):
    garden, block = world
    _, short = fed(begin(garden), block.cut(0, end), [])
    last_s = int(block.time_s[end - 1])
    for kind in ("notices", "briefs", "heat", "nights", "days"):
        assert short[kind] == [one for one in whole[1][kind] if one.issued_s <= last_s], kind
    for kind in ("changes", "lids"):
        assert short[kind] == [one for one in whole[1][kind] if one.time_s <= last_s], kind


@pytest.mark.parametrize("cut", [931, 2204])
def test_a_snapshot_foresees_on_to_the_bit(world, whole, cut):
    garden, block = world
    state, before = fed(begin(garden), block.cut(0, cut), [])
    state, after = fed(snapshot.load(snapshot.dump(state)), block.cut(cut, len(block)), [])
    assert words({kind: before[kind] + after[kind] for kind in KINDS}) == words(whole[1])
    assert to_text(state) == to_text(whole[0])
