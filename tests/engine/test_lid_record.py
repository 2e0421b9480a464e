"""A word about a lid holds for an hour after dark; an estimate goes on record when it is sure and new."""

from types import SimpleNamespace

import numpy as np
import pytest

from propstick.blocks import PlaceRows
from propstick.engine.lid_record import SURE_OF_LID, TOLD_HOLDS_S, ToldLids, left_to_judge, openings_judged
from propstick.engine.nights import night_of
from propstick.garden import Box, Garden, Site
from propstick.times import local_date

SITE = Site(latitude=52.0, longitude=0.0, zone="UTC")
GARDEN = Garden(site=SITE, boxes=(Box(name="north"), Box(name="lane")))
NIGHT = night_of(SITE, local_date(1_772_452_800, "UTC"))


class Seen(SimpleNamespace):
    """The part of a trace that is looked at."""

    def __len__(self):
        return len(self.time_s)


def rows(lid, first_s):
    """Rows a minute apart with these openings, shape (n, 2); nothing else is looked at."""
    lid = np.asarray(lid, dtype=float)
    n = len(lid)
    one, two = np.full(n, np.nan), np.full((n, 2), np.nan)
    time_s = first_s + 60 * np.arange(n)
    return PlaceRows(time_s, one, one, one, two, two, two, two, lid, two, two == 0)


def judged(lid, first_s, *, contacts=frozenset(), told=None):
    told = told or ToldLids.of(2, first_s - 60)
    return left_to_judge(told, rows(lid, first_s), garden=GARDEN, contacts=contacts)


def test_a_lid_told_shut_is_taken_at_its_word_for_an_hour_of_the_dark():
    """Told at the first of 90 rows after sunset: from an hour on unknown. An open one stays told."""
    lid = np.tile([0.0, 0.3], (90, 1))
    _, left = judged(lid, NIGHT.sunset_s + 60)
    unknown = np.isnan(left.lid)
    assert np.flatnonzero(unknown[:, 0])[0] == TOLD_HOLDS_S // 60
    assert not unknown[:, 1].any()


def test_by_day_and_by_contact_it_is_believed():
    """At noon there is nothing to judge; a contact knows."""
    lid = np.zeros((90, 2))
    _, noon = judged(lid, NIGHT.sunset_s - 6 * 3600)
    assert not np.isnan(noon.lid).any()
    _, night = judged(lid, NIGHT.sunset_s + 60, contacts=frozenset({"lane"}))
    assert np.isnan(night.lid[-1]).tolist() == [True, False]


@pytest.mark.parametrize("cut", [1, 45, 61, 89])
def test_a_cut_does_not_show(cut):
    """The age of a word is carried."""
    lid = np.tile([0.0, 0.3], (90, 1))
    lid[30:, 0] = 0.1
    lid[35:, 0] = 0.0
    first_s = NIGHT.sunset_s + 60
    _, whole = judged(lid, first_s)
    told, one = judged(lid[:cut], first_s)
    _, two = judged(lid[cut:], first_s + 60 * cut, told=told)
    np.testing.assert_array_equal(whole.lid, np.concatenate([one.lid, two.lid]))


def estimated(*, told=(False, True), on_word=False, loose=False, is_known=True):
    """Shut, doubtful, wide, wide: what the estimates of two boxes put on record."""
    sure, doubt = SURE_OF_LID, 0.25
    shut, unsure, wide = [sure, 0.05, 0.03, 0.02], [doubt] * 4, [0.02, 0.03, 0.05, sure]
    weight = np.stack([np.stack([w, w], axis=1) for w in (shut, unsure, wide, wide)])
    every = np.ones((4, 2), dtype=bool)
    trace = Seen(
        lid_told=np.array([told] * 4), known=every, outside_known=every[:, 0], time_s=60 * np.arange(4),
        index=np.arange(4),
    )  # fmt: skip
    is_loose = every & loose
    is_loose[:3] = False
    minutes = SimpleNamespace(trace=trace, openings=SimpleNamespace(weight=weight, loose=is_loose))
    last, found = openings_judged(
        np.array([np.nan, 0.3]), minutes, GARDEN, on_word=every & on_word, is_known=is_known
    )
    return last, [(lid.box, lid.time_s, lid.opening) for lid in found]


def test_an_estimate_goes_on_record_when_it_is_sure_and_not_what_stood():
    """Two entries. A lid that is told has none, and forgets the last."""
    last, found = estimated()
    assert found == [("north", 0, 0.0), ("north", 120, 1.0)]
    assert last[0] == 1.0
    assert np.isnan(last[1])


def test_the_word_of_who_shut_a_lid_stands_until_the_box_stops_holding_heat():
    """However sure the estimate is; and in the first nights it is sure of nothing."""
    assert estimated(told=(False, False), on_word=True)[1] == []
    loose = estimated(told=(False, False), on_word=True, loose=True)[1]
    assert loose == [("lane", 180, 1.0), ("north", 180, 1.0)]
    assert estimated(told=(False, False), on_word=True, loose=True, is_known=False)[1] == []
