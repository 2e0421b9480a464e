"""Who decides: ours or the plain method."""

import numpy as np

from propstick.engine.marking import Record, said_plainly


def test_the_plain_method_decides_where_ours_was_not_better_over_enough_nights():
    record = Record(
        ours=np.array([4.0, 4.0, 1.0, 4.0]),
        plain=np.array([3.0, 3.0, 3.0, 4.0]),
        count=np.array([20, 7, 20, 8.0]),
    )
    assert record.plain_decides.tolist() == [True, False, False, True]


def test_it_says_so_in_words():
    def words(ours, plain, count):
        record = Record(np.float64(ours), np.float64(plain), np.float64(count))
        return said_plainly(record, forecast="night minimum", method="mean drop")

    assert words(4.0, 1.0, 20) == (
        "night minimum: ours is not better (2.0 °C against 1.0), so mean drop decides"
    )
    assert words(1.0, 4.0, 20) == "night minimum: off by 1.0 °C, mean drop by 2.0"
    assert words(1.0, 4.0, 3) == "night minimum: too few to judge yet (3 of 8)"
