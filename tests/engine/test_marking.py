"""Who decides: ours or the plain method."""

import numpy as np

from propstick.engine.marking import Record


def test_the_plain_method_decides_where_ours_was_not_better_over_enough_nights():
    record = Record(
        ours=np.array([4.0, 4.0, 1.0, 4.0]),
        plain=np.array([3.0, 3.0, 3.0, 4.0]),
        count=np.array([20, 7, 20, 8.0]),
    )
    assert record.plain_decides.tolist() == [True, False, False, True]
