"""What a day teaches, and what it must not."""

from dataclasses import replace

import numpy as np
import pytest

from propstick.blocks import PlaceRows
from propstick.engine import day_learning, day_record
from propstick.engine.nights import daylight_of
from propstick.engine.slots import extend, no_slots
from propstick.engine.usual_box import usual_rise_c
from propstick.garden import Site
from propstick.times import local_date

SITE = Site(latitude=46.95, longitude=7.44, zone="Europe/Zurich")
START_S = 1_709_251_200  # 2024-03-01T00:00:00Z
LIGHT = daylight_of(SITE, local_date(START_S + 43_200, SITE.zone))
NOON_ROW = 144
USUAL_C = usual_rise_c(LIGHT, site=SITE, top_c=5.0)
MODEL_RISE_C = 35.0


def _learnt(*, lid, forecast_c=40.0, model_c=40.0, share=1.0, top_c=35.0, state=None):
    """One day whose box peaks at noon under lids given per row; issued an hour after sunrise."""
    time_s = START_S + 300 * np.arange(1, 289, dtype=np.int64)
    away = np.abs(np.arange(288) - NOON_ROW) / 60.0
    air = np.maximum(5.0, top_c - 15.0 * away**2)
    unknown, wide = np.full(288, np.nan), np.full((288, 1), np.nan)
    outside = np.full(288, 5.0)
    rows = PlaceRows(
        time_s, outside, unknown, unknown, air[:, None], wide, wide, wide, lid[:, None], wide, wide == 0
    )
    slots = extend(no_slots(1), rows, np.full((288, 1), share))
    state = day_record.remembered(
        day_record.no_days(1) if state is None else state,
        1,
        issued_c=np.full((4, 1), forecast_c),
        issued_sd_c=np.full((4, 1), 3.0),
        issued_s=np.int64(LIGHT.sunrise_s // 300 * 300 + 3900),
        issued_ground_c=np.array([5.0]),
        issued_top_c=np.float64(5.0),
        issued_as_is_c=np.array([[38.0], [33.0]]),
        issued_clear_c=np.array([model_c]),
        issued_model_c=np.full((3, 1), model_c),
        issued_shut_c=np.full((2, 1), model_c),
        issued_share=np.array([0.6]),
    )
    return day_learning.learn(state, slots, LIGHT, site=SITE)


def _shut_gain(state):
    """The factor on a model that foresees a rise of 35 °C."""
    return day_record.shut_gain(state, 1, np.array([np.log(MODEL_RISE_C / USUAL_C)]))[0]


def test_a_clear_shut_day_teaches_lift_gain_and_record():
    """35 °C came of 40 foretold: 30 °C above outside, six sevenths of the model's rise."""
    state = _learnt(lid=np.zeros(288))
    assert state.lift_c[-1, 0] == pytest.approx(30.0)
    assert state.lift_clear[-1, 0]
    assert np.exp(state.shut_levels[-1, 0]) * USUAL_C == pytest.approx(30.0, abs=0.05)
    assert 30.0 / 35.0 < _shut_gain(state) < 1.0
    assert state.square_c2[1, 0, 0] == pytest.approx(25.0)
    assert np.isnan(state.issued_c).all()


def test_a_cloudy_day_teaches_a_lift_but_neither_gain_nor_error():
    state = _learnt(lid=np.zeros(288), share=0.4)
    assert state.lift_c[-1, 0] == pytest.approx(30.0)
    assert not state.lift_clear[-1, 0]
    assert _shut_gain(state) == pytest.approx(1.0)
    assert state.weight[1, 0, 0] == 0.0
    assert state.weight[1, 3, 0] == 1.0


def test_a_maximum_that_somebody_ended_by_opening_is_not_that_of_a_shut_box():
    lid = np.where(np.arange(288) > NOON_ROW + 2, 0.5, 0.0)
    state = _learnt(lid=lid)
    assert np.isnan(state.lift_c[-1, 0])
    assert _shut_gain(state) == pytest.approx(1.0)


def test_days_that_were_not_quite_clear_hold_the_gain_down_little():
    """Of four days one is really clear: at least the upper quarter of what was seen is believed."""
    state = day_record.no_days(1)
    levels = state.shut_levels.copy()
    levels[-3:, 0] = np.log(np.array([0.85, 0.86, 0.97]) * MODEL_RISE_C / USUAL_C)
    kept = _shut_gain(_learnt(lid=np.zeros(288), state=replace(state, shut_levels=levels)))
    assert 0.96 < kept <= 1.0


def test_what_the_lid_as_it_stood_came_to_is_set_beside_both_forecasts():
    """35 °C came; 38 and 33 were foretold: squares of 9 and 4, drawn from the prior's 36."""
    state = _learnt(lid=np.zeros(288))
    weight = 1.0 / (1.0 + day_learning.SHUT_RECORD_DAYS)
    expected = day_record.AS_IS_RECORD_C2 + weight * (np.array([9.0, 4.0]) - day_record.AS_IS_RECORD_C2)
    assert state.as_is_square_c2[1, :, 0] == pytest.approx(expected)
    assert state.as_is_weight[:, 0].tolist() == [0.0, 1.0, 0.0, 0.0]


def test_a_propped_day_teaches_the_propped_gain_alone():
    state = _learnt(lid=np.full(288, 0.1))
    assert state.gain[0, 0] != day_record.GAIN_PRIOR[0]
    assert state.gain[1, 0] == 1.0
    assert _shut_gain(state) == pytest.approx(1.0)
    assert np.isnan(state.lift_c[-1, 0])


def test_an_unknown_lid_counts_as_shut():
    assert _learnt(lid=np.full(288, np.nan)).lift_c[-1, 0] == pytest.approx(30.0)


def test_a_day_teaches_what_may_come_again_tomorrow_whatever_the_lid():
    """35 °C under a lid half up, 30 above the outside; a day seen in part teaches nothing of it."""
    state = _learnt(lid=np.full(288, 0.5))
    assert (state.max_before_c[0], state.lift_before_c[0], state.lid_before[0]) == pytest.approx(
        (35.0, 30.0, 0.5)
    )
    assert np.isnan(state.lift_c[-1, 0])
