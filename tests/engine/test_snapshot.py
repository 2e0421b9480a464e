"""A checkpoint is the state to the last bit, or refused with a reason."""

import pytest

from propstick.engine import snapshot
from propstick.errors import StoreError


def test_a_checkpoint_is_small_and_whole(live):
    """Dumped, loaded and dumped again: the same bytes."""
    state = live([20.0 + 0.06 * (k % 5) for k in range(120)]).state
    data = snapshot.dump(state)
    assert snapshot.dump(snapshot.load(data)) == data
    assert len(data) < 8_000


@pytest.mark.parametrize(
    "damage", [lambda d: d[:-9], lambda d: b"propstick-engine-0\n" + d[19:], lambda d: b""]
)
def test_another_release_or_damage_is_refused(live, damage):
    """The caller then relearns from the readings."""
    data = snapshot.dump(live([20.0]).state)
    with pytest.raises(StoreError, match="checkpoint"):
        snapshot.load(damage(data))
