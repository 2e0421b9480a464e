"""Made-up hours and the crop table, for the tests of the grower's questions."""

from importlib.resources import files

import numpy as np
import pytest

from propstick.growing.coming import Coming
from propstick.growing.crops import crop_table
from propstick.growing.hours import Filled

START_S = 1_772_323_200  # 2026-03-01T00:00:00Z


@pytest.fixture(scope="session")
def crops():
    return crop_table(files("propstick.growing").joinpath("crops.toml").read_text("utf-8"))


def _hours(days, start_s=START_S):
    return start_s + 3600 * np.arange(round(days * 24), dtype=np.int64)


@pytest.fixture(scope="session")
def hours():
    """UTC seconds of the hours of so many days from 1 March 2026 on."""
    return _hours


@pytest.fixture(scope="session")
def held():
    """A place that stays at one temperature for so many days."""

    def made(value_c, days, *, start_s=START_S):
        time_s = _hours(days, start_s)
        return Filled(
            time_s=time_s,
            value_c=np.full(len(time_s), float(value_c)),
            stood_in=np.zeros(len(time_s), dtype=bool),
            spread_c=0.5,
        )

    return made


@pytest.fixture(scope="session")
def ahead():
    """The same, expected: with a spread of its mean."""

    def made(value_c, days, *, start_s, spread_c=2.0):
        time_s = _hours(days, start_s)
        same = np.ones(len(time_s))
        return Coming(time_s=time_s, value_c=value_c * same, spread_c=spread_c * same)

    return made
