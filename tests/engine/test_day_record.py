"""What is remembered of a box's days."""

from dataclasses import replace

import numpy as np
import pytest

from propstick.engine import day_record
from propstick.engine.rise import CLASSES


def _after_a_day(boxes: int, **known) -> day_record.DayState:
    state = day_record.no_days(boxes)
    return replace(state, rise=replace(state.rise, weight=np.ones(CLASSES)), **known)


def test_the_first_day_asks_for_more_than_the_rates_nobody_has_learnt_say():
    shut = np.zeros((1, 1))
    first, later = (
        day_record.gain_at(state, shut, shut=np.ones(1))[0, 0]
        for state in (day_record.no_days(1), _after_a_day(1))
    )
    assert later == pytest.approx(1.0)
    assert first == pytest.approx(day_record.FIRST_DAY_GAIN)
    assert first > later


def test_the_gain_runs_straight_between_the_openings_it_was_learnt_at():
    gain = np.array([[0.6], [0.8]])
    state = _after_a_day(1, gain=gain, gain_weight=np.full((2, 1), 1e9))
    lids = np.array([[0.0], [0.05], [0.1], [0.55], [1.0]])
    gains = day_record.gain_at(state, lids, shut=np.ones(1))
    assert gains[:, 0] == pytest.approx([1.0, 0.8, 0.6, 0.7, 0.8])


def test_a_box_never_held_so_takes_after_the_others():
    """Three propped days of one box at 0.5: the site is at (3 x 0.5 + prior) / 4, and so is the other box."""
    gain, weight = np.repeat(day_record.GAIN_PRIOR[:, None], 2, axis=1), np.zeros((2, 2))
    gain[0, 0], weight[0, 0] = 0.5, 3.0
    state = _after_a_day(2, gain=gain, gain_weight=weight)
    propped = day_record.gain_at(state, np.full((1, 2), 0.1), shut=np.ones(2))[0]
    site = (3 * 0.5 + day_record.GAIN_PRIOR[0]) / 4
    assert propped == pytest.approx([(3 * 0.5 + site) / 4, site])


def test_a_box_aired_every_day_is_known_by_its_few_clear_shut_days_whatever_the_model_says_later():
    """Five showed 1.1 times the usual rise; the model, learnt under a lid that is up, drifts to 1.5 times."""
    state = day_record.no_days(2)
    levels = state.shut_levels.copy()
    levels[-5:, 0] = np.log(1.1)
    drifted = np.log(np.array([1.5, 1.5]))
    mean = np.where(np.arange(CLASSES)[:, None] == 1, drifted, 0.0)
    state = replace(state, shut_levels=levels, level=mean, level_weight=np.full((CLASSES, 2), 30.0))
    rise = 1.5 * day_record.shut_gain(state, 1, drifted)
    share = 5.0 / (5.0 + day_record.MODEL_DAYS)
    assert rise[0] == pytest.approx(1.1**share * 1.5 ** (1.0 - share))
    assert rise[1] == pytest.approx(1.5)


def test_the_best_lift_counts_only_if_a_clear_shut_day_is_among_them():
    state = day_record.no_days(2)
    best = np.array([30.0, 30.0])
    assert day_record.plain_share(state, best).tolist() == [0.0, 0.0]
    clear = state.lift_clear.copy()
    clear[-1] = True
    seen = replace(state, lift_clear=clear)
    assert day_record.plain_share(seen, best) == pytest.approx([0.5, 0.5])
    assert day_record.plain_share(seen, np.array([np.nan, 30.0]))[0] == 0.0
    worse_model = replace(seen, shut_square_c2=np.array([[16.0, 4.0], [4.0, 4.0]]))
    share = day_record.plain_share(worse_model, best)
    assert share[0] > 0.8
    assert share[1] == pytest.approx(0.5)


def test_an_issue_is_remembered_and_forgotten_at_sunset():
    state = day_record.no_days(1)
    noted = day_record.remembered(state, 1, issued_s=np.int64(99), issued_share=np.array([0.4]))
    assert noted.issued_s.tolist() == [0, 99, 0, 0]
    assert noted.issued_share[1, 0] == 0.4
    assert state.issued_s.tolist() == [0] * CLASSES
    assert np.isnan(day_record.cleared(noted).issued_share).all()


def test_more_sun_now_promises_more_of_the_rise():
    state = day_record.no_days(3)
    comes = day_record.share_that_comes(state, 1, np.array([0.0, 0.5, 1.0]))
    assert comes == pytest.approx([0.5, 0.7, 0.9])
