"""Who acts when."""

from datetime import UTC, date, datetime, time

import numpy as np

from propstick.garden import Person
from propstick.records import Brief, BriefLine, Notice
from propstick.simulation.people import PROPPED, FollowsNotices, Nobody, WaxArms, at_home, awake

PERSON = Person(leaves=time(8), back=time(17))
WEDNESDAY = datetime(2026, 3, 18, tzinfo=UTC)


def _at(hour, minute=0):
    return int(WEDNESDAY.timestamp()) + 3600 * hour + 60 * minute


def _heat(t, box="north", kinds=("heat-ahead",), to="person"):
    return Notice(id="n", issued_s=t, boxes=(box,), kinds=kinds, text="", to=to)


def _brief(t, *lines):
    return Brief(issued_s=t, which="morning", date=date(2026, 3, 18), lines=lines, text="")


def _play(hands, first, last, *, notices=None, briefs=None):
    """Lid of box 0 minute by minute, news given at its minute."""
    notices, briefs = notices or {}, briefs or {}
    return {
        t: hands.decide(t, notices.get(t, ()), briefs.get(t, ()))[0].copy() for t in range(first, last, 60)
    }


def test_home_and_awake():
    """Away 8 to 17 on weekdays; asleep from 22:30 to 6:30."""
    assert [at_home(PERSON, _at(h), None) for h in (7, 8, 16, 17)] == [True, False, False, True]
    assert at_home(PERSON, _at(72 + 12), None)
    assert [awake(PERSON, _at(h), None) for h in (3, 7, 22, 23)] == [False, True, True, False]


def test_a_notice_opens_after_the_reaction_time():
    """At home: shut at once after the notice, open within a few reaction times; other boxes untouched."""
    hands = FollowsNotices(["north", "lane"], person=PERSON, zone=None, reaction_minutes=20.0, seed=3)
    t = _at(18)
    lids = _play(hands, t, t + 7200, notices={t: (_heat(t),)})
    opened = next(k for k, lid in lids.items() if lid[0] > 0.0)
    assert t + 300 < opened < t + 4800
    assert all(lid[1] == 0.0 for lid in lids.values())
    assert hands.walks == 1


def test_away_means_no_hand_until_back():
    """A notice at 10:00 is answered at 17:00, not before."""
    hands = FollowsNotices(["north"], person=PERSON, zone=None, seed=3)
    lids = _play(hands, _at(10), _at(17, 5), notices={_at(10): (_heat(_at(10)),)})
    assert all(lid[0] == 0.0 for t, lid in lids.items() if t < _at(17))
    assert lids[_at(17)][0] > 0.0


def test_what_goes_to_the_helper_is_not_for_this_person():
    """A notice to somebody else moves nothing."""
    hands = FollowsNotices(["north"], person=PERSON, zone=None)
    lids = _play(hands, _at(18), _at(21), notices={_at(18): (_heat(_at(18), to="neighbour"),)})
    assert not any(lid[0] for lid in lids.values())


def test_a_brief_is_done_as_written_and_a_mat_only_where_there_is_one():
    """Prop as the brief says; frost covers the box that has a blanket."""
    hands = FollowsNotices(
        ["north", "lane"], person=PERSON, zone=None, reaction_minutes=5.0, covers=frozenset({"lane"}), seed=1
    )
    t = _at(7)
    brief = _brief(
        t,
        BriefLine(box="north", advice="prop", reason=""),
        BriefLine(box="lane", advice="open", reason="", opening=0.4),
    )
    lids = _play(hands, t, _at(8), briefs={t: (brief,)})
    np.testing.assert_array_equal(lids[_at(7, 59)], [PROPPED, 0.4])
    dusk = _at(18)
    cold = tuple(_heat(dusk, box, ("frost-ahead",)) for box in ("north", "lane"))
    _play(hands, dusk, _at(20), notices={dusk: cold})
    lid, cover = hands.decide(_at(20), (), ())
    assert lid.tolist() == [0.0, 0.0]
    assert cover.tolist() == [0.0, 1.0]


def test_nobody_leaves_all_as_it_is():
    assert Nobody(2, lid=0.1).decide(0, (), ())[0].tolist() == [0.1, 0.1]


def test_a_wax_arm_opens_late_and_only_where_there_is_one():
    """63 % of the way after its lag; no arm, no opening."""
    arms = WaxArms(np.array([20.0, np.nan]), full_c=10.0, lag_minutes=15.0)
    arms.opening(np.array([20.0, 20.0]))
    for _ in range(15):
        opening = arms.opening(np.array([30.0, 30.0]))
    np.testing.assert_allclose(opening, [1.0 - np.exp(-1.0), 0.0], atol=1e-9)
