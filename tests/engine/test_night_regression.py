"""The regression of the night's drop: prior, learning, and probes that come and go."""

import numpy as np
import pytest

from propstick.engine import night_prior, night_regression
from propstick.engine.evening import FEATURES, NAMES, Evening
from propstick.engine.night_regression import SWITCH_NIGHTS, Sample, add_night, drops_c, start

LIFT, DEW = NAMES.index("lift"), NAMES.index("dew_gap")


def _evening(*, beside=True, dew=np.nan, change=0.0):
    x = np.zeros((2, FEATURES))
    x[:, 0] = 1.0
    x[:, NAMES.index("change_1h")] = change
    x[:, DEW] = dew
    if not beside:
        x[:, LIFT] = np.nan
    return Evening(np.array([5.0, 3.0]), x, beside)


def _taught(regression, nights, *, drop=-2.0, slope=0.0, seed=1, **kind):
    rng = np.random.default_rng(seed)
    for _ in range(nights):
        change = float(rng.normal())
        came = np.full(2, drop + slope * change)
        regression = add_night(regression, [Sample(3, _evening(change=change, **kind), came, np.zeros(2))])
    return regression


def test_before_the_first_night_the_prior_speaks():
    learnt, prior = drops_c(start(1), _evening(), 3)
    assert learnt == pytest.approx(prior)
    beside = night_prior.VARIANTS.index("beside")
    assert prior[0] == pytest.approx(min(night_prior.COEFFICIENT[beside, 3, 0], 0.0))


def test_many_nights_find_the_line():
    """A noiseless line is found but for what is always forgotten towards the prior."""
    regression = _taught(start(1), 200, drop=-4.0, slope=0.7)
    for change in (-1.0, 1.0):
        learnt, _ = drops_c(regression, _evening(change=change), 3)
        assert learnt[0] == pytest.approx(-4.0 + 0.7 * change, abs=0.25)


def test_a_drop_is_never_a_rise():
    regression = _taught(start(1), 50, drop=3.0)
    assert drops_c(regression, _evening(), 3)[0].max() == 0.0


def test_one_night_without_the_outside_probe_loses_nothing():
    taught = _taught(start(1), 60, drop=-6.0)
    after = _taught(taught, 1, drop=-1.0, beside=False)
    assert drops_c(after, _evening(), 3)[0] == pytest.approx(drops_c(taught, _evening(), 3)[0], abs=0.2)
    tonight, prior = drops_c(taught, _evening(beside=False), 3)
    assert tonight[0] == prior[0]


def test_other_probes_for_some_nights_start_the_regression_anew():
    taught = _taught(start(1), 60, drop=-6.0)
    after = _taught(taught, SWITCH_NIGHTS, dew=1.0)
    assert after.variant[0] == night_prior.VARIANTS.index("humid")
    assert after.others.tolist() == [0, 0]
    learnt, prior = drops_c(after, _evening(dew=1.0), 3)
    assert learnt[0] == pytest.approx(prior[0], abs=1.5)
    assert night_regression.variant_of(_evening(dew=1.0))[1] == night_prior.VARIANTS.index("ground humid")


def test_bins_run_from_the_brief_to_the_last_hours():
    hours = [(-1, 14.0), (1, 12.0), (2, 11.0), (4, 8.0), (6, 6.0), (8, 4.0), (10, 1.0)]
    assert [night_regression.bin_of(*pair) for pair in hours] == list(range(night_regression.BINS))
