"""FAO's frost equation against the book's own example nights."""

import numpy as np
import pytest

from propstick.engine import frost_fao

# Ten nights of the example in Snyder & de Melo-Abreu (2005), chapter 5, as carried by the R package `frost`.
AIR_C = np.array([3.2, 0.8, 0.2, 2.6, 4.4, 5.2, 2.7, 1.2, 4.5, 5.6])
DEW_C = np.array([-4.2, -8.8, -6.5, -6.2, -6.1, 2.6, -0.7, -1.7, -1.2, 0.1])
MINIMUM_C = np.array([-3.1, -5.0, -6.3, -5.4, -4.0, -2.5, -4.8, -5.0, -4.4, -3.3])


def test_two_step_fit_gives_the_published_forecast():
    """The package's printed forecast at 10 °C air and 2 °C dew point is -0.7409219."""
    equation = frost_fao.fit(AIR_C, MINIMUM_C, DEW_C)
    assert float(equation.minimum_c(np.array(10.0), 2.0)) == pytest.approx(-0.7409219, abs=1e-7)


def test_air_alone_equals_numpys_least_squares():
    slope, constant = np.polyfit(AIR_C, MINIMUM_C, 1)
    equation = frost_fao.fit(AIR_C, MINIMUM_C)
    assert float(equation.air_slope) == pytest.approx(slope)
    assert float(equation.constant_c) == pytest.approx(constant)


def test_carried_sums_give_the_same_equation_as_all_nights_at_once():
    sums = frost_fao.no_nights((1,))
    for air_c, minimum_c in zip(AIR_C, MINIMUM_C, strict=True):
        sums = frost_fao.add_night(sums, np.array([air_c]), np.array([minimum_c]))
    sums = frost_fao.add_night(sums, np.array([np.nan]), np.array([1.0]))
    whole = frost_fao.fit(AIR_C, MINIMUM_C)
    carried = frost_fao.equation_of(sums)
    assert carried.air_slope == pytest.approx(float(whole.air_slope))
    assert carried.constant_c == pytest.approx(float(whole.constant_c))


def test_one_night_is_no_equation():
    sums = frost_fao.add_night(frost_fao.no_nights(()), np.array(1.0), np.array(-2.0))
    assert np.isnan(frost_fao.equation_of(sums).air_slope)
