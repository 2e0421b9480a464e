"""The observer: it follows, it learns, it shrugs off silence, and chopping never shows."""

from dataclasses import fields, replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from propstick.engine.laying import step_used_s
from propstick.engine.observer import Trace, learns_at_s, observe, start
from propstick.garden import Box, Site


def same_trace(whole, parts):
    """Whether the parts laid end to end equal the whole in every bit, row numbers apart."""
    for f in fields(Trace):
        if f.name == "index":
            continue
        joined = np.concatenate([getattr(part, f.name) for part in parts])
        np.testing.assert_array_equal(getattr(whole, f.name), joined, err_msg=f.name)


def with_silence(rows, first, stop):
    """The rows with box 1 and outside unread for a stretch."""
    air, outside = rows.air_c.copy(), rows.outside_air_c.copy()
    air[first:stop, 1] = np.nan
    outside[first + 5 : stop] = np.nan
    return replace(rows, air_c=air, outside_air_c=outside)


def test_it_follows_a_box_of_its_own_kind(garden_rows, kent, two_boxes):
    """On rows made by the model itself the error is that of the probes (0.05 °C), hardly more than double."""
    _, trace = observe(start(two_boxes), garden_rows(1.0), kent)
    assert np.sqrt(np.mean(trace.error_c[300:] ** 2)) < 0.13


def test_it_sees_the_sun_in_the_box(garden_rows, kent, two_boxes):
    """Cloudless minutes read near 1 and cloudy ones near 0.35, with no sun sensor."""
    _, clear = observe(start(two_boxes), garden_rows(1.0, cloud=0.0), kent)
    _, dull = observe(start(two_boxes), garden_rows(1.0, cloud=1.0), kent)
    noon = clear.clear_sky_w_m2 > 400.0
    assert clear.sun[noon].mean() == pytest.approx(1.0, abs=0.2)
    assert dull.sun[noon].mean() == pytest.approx(0.35, abs=0.15)


def test_readings_far_apart_make_no_slopes_of_their_own(garden_rows, kent, two_boxes):
    """A box read every quarter of an hour, falling 0.1 °C a minute: no mean lags, no jump looks steep."""
    rows = garden_rows(0.2)
    minutes = np.arange(len(rows)) // 15 * 15.0
    air = np.stack([40.0 - 0.1 * minutes] * 2, axis=1)
    _, trace = observe(start(two_boxes), replace(rows, air_c=air), kent, read_every_s=np.array([0.0, 900.0]))
    np.testing.assert_array_equal(trace.air5_c[60:, 1], air[60:, 1])
    np.testing.assert_allclose(trace.slope10[60:, 1], -0.1)
    np.testing.assert_allclose(trace.slope5[60:, 1], -0.1)
    assert np.abs(trace.slope10[60:, 0] + 0.1).max() > 0.05


@pytest.mark.slow
@settings(max_examples=8, deadline=None)
@given(cuts=st.lists(st.integers(1, 2159), min_size=1, max_size=12, unique=True))
def test_chopping_never_shows(garden_rows, kent, two_boxes, cuts):
    """A day and a half with a silence and a lid that moves, cut anywhere: the same bits."""
    lid = np.where(np.arange(2160) % 700 < 60, 0.3, 0.0)
    rows = with_silence(garden_rows(1.5, lid=lid), 400, 430)
    slow = np.array([0.0, 900.0])
    state, whole = observe(start(two_boxes), rows, kent, read_every_s=slow)
    carried, parts = start(two_boxes), []
    edges = [0, *sorted(cuts), len(rows)]
    for first, stop in pairwise(edges):
        carried, part = observe(carried, rows.cut(first, stop), kent, read_every_s=slow)
        parts.append(part)
    same_trace(whole, parts)
    np.testing.assert_array_equal(carried.fit.theta, state.fit.theta)
    np.testing.assert_array_equal(carried.fit.normal, state.fit.normal)
    np.testing.assert_array_equal(carried.nodes, state.nodes)


def test_absent_rows_are_silent_rows(garden_rows, kent, two_boxes):
    """Rows left out say the same as rows of NaN."""
    rows = garden_rows(0.25)
    silent = replace(
        rows,
        **{name: getattr(rows, name).copy() for name in ("air_c", "soil_c", "outside_air_c", "lid")},
    )
    for name in ("air_c", "soil_c", "outside_air_c"):
        getattr(silent, name)[100:120] = np.nan
    silent.lid[100:120] = np.nan
    state, whole = observe(start(two_boxes), silent, kent)
    carried, _ = observe(start(two_boxes), rows.cut(0, 100), kent)
    carried, after = observe(carried, rows.cut(120, len(rows)), kent)
    np.testing.assert_array_equal(after.air_c, whole.air_c[120:])
    np.testing.assert_array_equal(carried.nodes, state.nodes)


@pytest.mark.slow
def test_it_learns_a_box_that_is_not_its_prior(garden_rows, kent):
    """A box taken for one with twin-wall glazing: after a week the last day surprises less than unlearnt."""
    boxes = (Box(name="north", glazing="twin-wall"), Box(name="lane", glazing="twin-wall"))
    rows = garden_rows(8.0)
    state, _ = observe(start(boxes), rows.cut(0, 7 * 1440), kent)
    unlearnt = replace(state, fit=replace(state.fit, theta=state.fit.theta0))
    _, learnt_day = observe(state, rows.cut(7 * 1440, len(rows)), kent)
    _, unlearnt_day = observe(unlearnt, rows.cut(7 * 1440, len(rows)), kent)
    assert (learnt_day.error_c**2).mean() < (unlearnt_day.error_c**2).mean()


def test_a_silent_box_does_not_disturb_the_other(garden_rows, kent, two_boxes):
    """Box 0 is followed to the same bits while box 1 is silent."""
    rows = garden_rows(0.5)
    air = rows.air_c.copy()
    air[200:400, 1] = np.nan
    _, heard = observe(start(two_boxes), rows, kent)
    _, trace = observe(start(two_boxes), replace(rows, air_c=air), kent)
    np.testing.assert_array_equal(trace.air_c[:, 0], heard.air_c[:, 0])
    assert not trace.known[300, 1]
    assert trace.known[401, 1]
    assert abs(trace.air_c[402, 1] - rows.air_c[402, 1]) < 0.5


def test_a_probe_that_left_its_box_no_longer_fits(garden_rows, kent, two_boxes):
    """Box 1's probe reads nonsense from 09:00 on: said within two hours, and only of box 1."""
    rows = garden_rows(0.5)
    air = rows.air_c.copy()
    air[540:, 1] += 6.0 * np.sign(np.sin(np.arange(180) / 4.0))
    _, trace = observe(start(two_boxes), replace(rows, air_c=air), kent)
    assert trace.fits[:540].all()
    assert trace.fits[:, 0].all()
    assert not trace.fits[660, 1]


def test_without_site_or_outside_it_still_runs(garden_rows, two_boxes):
    """No sun, no outside, no soil: finite, and said to be unknown."""
    rows = garden_rows(0.5)
    nan = np.full(len(rows), np.nan)
    rows = replace(rows, outside_air_c=nan, soil_c=np.full_like(rows.soil_c, np.nan))
    _, trace = observe(start(two_boxes), rows, Site())
    assert np.isfinite(trace.air_c).all()
    assert np.isfinite(trace.soil_c).all()
    assert not trace.outside_known.any()
    assert np.isnan(trace.elevation_deg).all()
    assert np.abs(trace.error_c[60:]).mean() < 0.3


@pytest.mark.parametrize(("grid", "used"), [(2, 60), (7, 63), (45, 90), (60, 60), (300, 300)])
def test_the_step_is_the_grid_or_a_whole_minute(grid, used):
    """Finer grids are thinned; coarser ones are used as they are."""
    assert step_used_s(grid) == used


def test_five_minute_rows_are_followed_too(garden_rows, kent, two_boxes):
    """On a 300 s grid the box is followed within a few tenths."""
    _, trace = observe(start(two_boxes, 300), garden_rows(1.0, step_s=300), kent)
    assert len(trace) == 288
    assert np.sqrt(np.mean(trace.error_c[60:] ** 2)) < 0.5


def test_learning_happens_at_night(kent):
    """About two in the morning: 02:00 UTC in Kent, 07:00 UTC at 75° W."""
    assert learns_at_s(kent) == 2 * 3600
    assert learns_at_s(Site(latitude=40.0, longitude=-75.0)) == 7 * 3600
