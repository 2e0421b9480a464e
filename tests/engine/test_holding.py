"""Evidence that a box holds heat no more: weather that meets all boxes is none, a lid that is up is."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from propstick.engine.holding import LOOSE_AT, start_holding, watch_holding
from propstick.engine.observer import observe, start
from propstick.engine.trace import LID_BANK

SD_C = 0.1
NIGHT = 300
EVENT = 100


@pytest.fixture(scope="module")
def dark_trace(garden_rows, kent, two_boxes):
    """A trace of two boxes whose numbers the tests overwrite."""
    rows = garden_rows(NIGHT / 1440.0, lid_told=False)
    _, trace = observe(start(two_boxes), rows, kent)
    shape = trace.air_c.shape
    return replace(
        trace,
        known=np.ones(shape, dtype=bool),
        lid_told=np.zeros(shape, dtype=bool),
        outside_known=np.ones(len(trace), dtype=bool),
        outside_c=np.zeros(len(trace)),
        air_c=np.full(shape, 4.0),
        night_sd_c=np.full(shape, SD_C),
        rounding_sd_c=np.zeros(shape),
        bank_error_c=np.zeros_like(trace.bank_error_c),
    )


def surprised(trace, boxes, *, lift_c=4.0):
    """From the event on, the shut copy of these boxes is off by 2.5 spreads and the open ones are not."""
    error, air = trace.bank_error_c.copy(), trace.air_c.copy()
    error[EVENT:, :, boxes] = -2.5 * SD_C * (1.0 - np.minimum(1.0, 20.0 * np.array(LID_BANK)))[:, None]
    air[EVENT:, boxes] = lift_c
    return replace(trace, bank_error_c=error, air_c=air)


def alone(trace, box):
    """The same garden with one box only."""
    per_box = {
        name: value[..., [box]]
        for name, value in vars(trace).items()
        if isinstance(value, np.ndarray) and value.ndim > 1
    }
    return replace(trace, **per_box)


def stopped(trace, watch=None):
    dark = np.ones(len(trace), dtype=bool)
    return watch_holding(watch or start_holding(trace.air_c.shape[1]), trace, is_dark=dark, minutes=1.0)[1]


def test_one_box_that_is_surprised_while_the_other_is_not_has_stopped_holding(dark_trace):
    """Half of 2.5² a minute less the credit: seven are reached in the third."""
    found = stopped(surprised(dark_trace, [0], lift_c=3.0))
    first = np.flatnonzero(found[:, 0])[0]
    assert (first - EVENT + 1) == int(np.ceil(LOOSE_AT / (0.5 * 2.5**2 - 0.1)))
    assert not found[:, 1].any()


def test_a_box_that_keeps_its_height_as_the_boxes_beside_it_do_is_not_loose(dark_trace):
    """Its model is off, not its lid: both stand where they stood, or have come down by as much."""
    trace = surprised(dark_trace, [0], lift_c=3.0)
    assert stopped(trace)[:, 0].any()
    both = trace.air_c.copy()
    both[EVENT:] = 3.0
    for air_c in (both, np.full_like(both, 4.0)):
        assert not stopped(replace(trace, air_c=air_c)).any()
    open_beside = np.zeros_like(trace.lid)
    open_beside[:, 1] = 0.3  # no witness: then nothing is compared, and by itself it lost too little
    told = np.zeros_like(trace.lid_told)
    told[:, 1] = True
    assert not stopped(replace(trace, lid=open_beside, lid_told=told)).any()


def test_a_neighbour_that_is_given_a_mat_makes_no_box_look_open(dark_trace):
    """It warms as its model did not think it would, and the box beside it goes on as ever. Both covered, they
    are compared again."""
    trace = replace(dark_trace, cover=np.zeros(dark_trace.cover.shape))
    error, air = trace.bank_error_c.copy(), trace.air_c.copy()
    error[EVENT:, :, 1] = 2.5 * SD_C  # warmed by the mat
    error[EVENT:, :, 0] = -0.9 * SD_C * (1.0 - np.minimum(1.0, 20.0 * np.array(LID_BANK)))
    air[EVENT:, 0], air[EVENT:, 1] = 3.0, 5.0
    warmed, mat = replace(trace, bank_error_c=error, air_c=air), trace.cover.copy()
    assert stopped(warmed)[:, 0].any()  # as if nobody had told of the mat
    mat[EVENT:, 1] = 1.0
    assert not stopped(replace(warmed, cover=mat)).any()
    mat[:] = 1.0
    assert stopped(replace(warmed, cover=mat))[:, 0].any()


def test_what_surprises_both_boxes_alike_is_the_weather(dark_trace):
    assert not stopped(surprised(dark_trace, [0, 1])).any()


def test_a_gale_that_lifts_every_lid_shows_by_the_height_that_is_lost(dark_trace):
    assert not stopped(surprised(dark_trace, [0, 1], lift_c=3.0)).any()
    assert stopped(surprised(dark_trace, [0, 1], lift_c=2.0))[EVENT:].any(axis=0).all()


def test_a_box_by_itself_is_judged_beside_its_usual_nights(dark_trace):
    """200 minutes give some 600 of evidence: loose where nights are calm, not where they are not."""
    trace = alone(surprised(dark_trace, [0], lift_c=2.0), 0)
    calm, restless = (replace(start_holding(1), peaks=np.full((7, 1), evidence)) for evidence in (3.0, 400.0))
    assert stopped(trace, calm).any()
    assert not stopped(trace, restless).any()


def test_a_night_goes_on_record_when_it_is_over(dark_trace):
    trace = surprised(dark_trace, [0])
    dark = np.arange(len(trace)) < 200
    watch, _ = watch_holding(start_holding(2), trace, is_dark=dark, minutes=1.0)
    assert watch.peaks[-1, 0] == pytest.approx(100 * (0.5 * 2.5**2 - 0.1))
    assert np.isnan(watch.peaks[:-1, 0]).all()
    assert not watch.total.any()


def test_pieces_do_not_change_a_bit(dark_trace):
    trace = surprised(dark_trace, [0], lift_c=2.0)
    dark = (np.arange(len(trace)) // 90) % 2 == 0
    whole, found = watch_holding(start_holding(2), trace, is_dark=dark, minutes=1.0)
    watch, parts = start_holding(2), []
    for first, stop in pairwise([0, 1, 89, 90, 91, 200, len(trace)]):
        here = slice(first, stop)
        piece = replace(trace, **{k: v[here] for k, v in vars(trace).items() if isinstance(v, np.ndarray)})
        watch, part = watch_holding(watch, piece, is_dark=dark[here], minutes=1.0)
        parts.append(part)
    np.testing.assert_array_equal(np.concatenate(parts), found)
    for name, value in vars(whole).items():
        np.testing.assert_array_equal(value, getattr(watch, name), err_msg=name)


def test_what_coarse_steps_do_to_a_minute_is_no_surprise(dark_trace):
    """2.5 spreads of a fine probe, a quarter of the rounding of a coarse one: its own or its neighbour's."""
    trace = surprised(dark_trace, [0])
    coarse = np.array([10.0 * SD_C, 0.0])
    for order in (coarse, coarse[::-1]):
        shape = trace.air_c.shape
        assert not stopped(replace(trace, rounding_sd_c=np.broadcast_to(order, shape))).any()
