"""Vapour, against FAO-56's worked examples and psychrolib."""

import numpy as np
import pytest

from propstick.errors import InputError
from propstick.physics.air import (
    dew_point_c,
    dew_point_of_air_c,
    saturation_vapour_kpa,
    vapour_kpa,
)


def test_saturation_matches_fao_examples():
    """FAO-56 Example 3 (mean 2.39 kPa of 15.0 and 24.5 °C) and Example 20 (1.68 kPa at 14.8 °C)."""
    pair = saturation_vapour_kpa(np.array([15.0, 24.5]))
    assert pair.mean() == pytest.approx(2.39, abs=0.005)
    assert saturation_vapour_kpa(np.array([14.8]))[0] == pytest.approx(1.68, abs=0.005)


def test_vapour_matches_fao_example_5():
    """FAO-56 Example 5: 82 % at 18 °C and 54 % at 25 °C hold 1.70 kPa in the mean."""
    assert vapour_kpa(np.array([18.0, 25.0]), np.array([82.0, 54.0])).mean() == pytest.approx(1.70, abs=0.005)


def test_saturation_agrees_with_psychrolib_above_freezing():
    """psychrolib over water: within 0.15 % from 0.02 to 40 °C."""
    psychrolib = pytest.importorskip("psychrolib")
    psychrolib.SetUnitSystem(psychrolib.SI)
    air = np.array([0.02, 5.0, 10.0, 20.0, 30.0, 40.0])
    theirs = np.array([psychrolib.GetSatVapPres(float(t)) for t in air]) / 1000.0
    assert np.abs(saturation_vapour_kpa(air) / theirs - 1.0).max() < 0.0015
    assert dew_point_of_air_c(np.array([25.0]), np.array([50.0]))[0] == pytest.approx(
        psychrolib.GetTDewPointFromRelHum(25.0, 0.5), abs=0.02
    )


def test_dew_point_is_the_exact_inverse():
    """dew(es(T)) is T to rounding, from -40 to 60 °C."""
    air = np.linspace(-40.0, 60.0, 101)
    assert np.abs(dew_point_c(saturation_vapour_kpa(air)) - air).max() < 1e-9


def test_unknown_stays_unknown_and_nonsense_is_refused():
    """NaN passes through; no vapour has no dew point; absolute nonsense raises."""
    assert np.isnan(saturation_vapour_kpa(np.array([np.nan])))[0]
    assert np.isnan(dew_point_c(np.array([0.0])))[0]
    with pytest.raises(InputError, match="above -237"):
        saturation_vapour_kpa(np.array([-300.0]))
