"""Plain methods, by hand."""

import numpy as np
import pytest

from propstick.engine import plain


def _after(*nights):
    record = plain.no_nights(1, 1)
    for air_c, minimum_c in nights:
        record = plain.add_night(record, np.array([[air_c]]), np.array([[minimum_c]]))
    return record


def test_drops_of_three_nights():
    record = _after((10.0, 6.0), (8.0, 7.0), (9.0, 5.0), (np.nan, 1.0))
    now = np.array([12.0])
    assert plain.last_drop_c(record, 0, now) == pytest.approx([8.0])
    assert plain.mean_drop_c(record, 0, now) == pytest.approx([9.0])


def test_before_the_first_night_the_usual_drop_is_the_prior():
    assert np.isnan(plain.mean_drop_c(_after(), 0, np.array([12.0]))).all()
    assert plain.usual_drop_c(_after(), 0, hours_left=10.0) == pytest.approx([-3.5])
    assert plain.usual_drop_c(_after((10.0, 3.0)), 0, hours_left=10.0) == pytest.approx([(-7 - 2 * 3.5) / 3])


def test_fao_is_last_nights_drop_until_ten_nights_and_then_numpys_line():
    air = np.array([3.2, 0.8, 0.2, 2.6, 4.4, 5.2, 2.7, 1.2, 4.5, 5.6])
    low = np.array([-3.1, -5.0, -6.3, -5.4, -4.0, -2.5, -4.8, -5.0, -4.4, -3.3])
    nine = _after(*zip(air[:9], low[:9], strict=True))
    assert plain.fao_c(nine, 0, np.array([2.0])) == pytest.approx([2.0 + low[8] - air[8]])
    ten = _after(*zip(air, low, strict=True))
    slope, constant = np.polyfit(air, low, 1)
    assert plain.fao_c(ten, 0, np.array([2.0])) == pytest.approx([2.0 * slope + constant])


def test_best_lift_leaves_out_days_that_do_not_count():
    lifts = np.array([[5.0, np.nan], [9.0, np.nan]])
    assert plain.best_lift_c(lifts)[0] == 9.0
    assert np.isnan(plain.best_lift_c(lifts)[1])
    assert np.isnan(plain.best_lift_c(np.empty((0, 2)))).all()
