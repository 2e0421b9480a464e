"""One look for many sites: it says what each would have heard asking alone."""

import pytest

from propstick.edges.glance import FRESH_S, Glance
from propstick.edges.journal import Journal
from propstick.edges.requests import Requests
from propstick.edges.sowings import Sowings
from propstick.errors import StoreError
from propstick.records import Outcome
from propstick.testing import HandClock

NOW_S = 1_770_000_000


@pytest.fixture
def clock():
    return HandClock(NOW_S)


@pytest.fixture
def glance(store, clock):
    return Glance(store, clock.monotonic_s)


def test_a_request_is_seen_by_its_own_site_only(store, glance, clock):
    east, west = Requests(store, "east", glance), Requests(store, "west", glance)
    assert east.pending() == west.pending() == []
    Requests(store, "west").add("lid", {"box": "north", "opening": 1}, by="page")
    clock.advance(FRESH_S)
    assert east.pending() == []
    assert [request.kind for request in west.pending()] == ["lid"]
    west.refuse(west.pending()[0].id, "no such box", row_s=NOW_S)
    clock.advance(FRESH_S)
    assert not glance.has_requests(store.site("west"))


def test_an_answer_is_given_again_for_a_second_and_a_site_that_joins_asks_anew(store, glance, clock):
    east = Requests(store, "east", glance)
    assert east.pending() == []
    Requests(store, "east").add("watered", {"box": "north"}, by="page")
    assert east.pending() == []
    Requests(store, "west", glance)
    assert len(east.pending()) == 1


def test_a_notice_that_waits_is_seen_until_it_is_delivered(store, glance, clock, make_notice):
    east, west = Journal(store, "east", glance), Journal(store, "west", glance)
    assert not east.outbox.may_hold_some()
    notice = make_notice(NOW_S)
    east.commit(row_s=NOW_S, readings=[], outcome=Outcome(notices=(notice,)), route=lambda _: ("phone",))
    clock.advance(FRESH_S)
    assert east.outbox.may_hold_some()
    assert not west.outbox.may_hold_some()
    east.outbox.delivered(notice.id, "phone", NOW_S)
    clock.advance(FRESH_S)
    assert not east.outbox.may_hold_some()
    assert Journal(store, "west").outbox.may_hold_some()  # without a look one has to ask


def test_the_sowings_revision_is_the_stores(store, glance, clock):
    before = glance.sowings_revision()
    sowings = Sowings(store, "east")
    sowings.add({"crop": "lettuce", "box": "north"}, by="page", at_s=NOW_S)
    assert glance.sowings_revision() == before
    clock.advance(FRESH_S)
    assert glance.sowings_revision() == sowings.revision() != before


def test_a_store_that_is_away_is_said_to_all_and_asked_once_a_second(store, glance, clock, monkeypatch):
    east = Requests(store, "east", glance)
    asked = []

    def away():
        asked.append(1)
        raise StoreError("store: away", reason="unreachable")

    with monkeypatch.context() as patch:
        patch.setattr(store, "read", away)
        for _ in range(3):
            with pytest.raises(StoreError, match="away"):
                east.pending()
    assert len(asked) == 1
    clock.advance(FRESH_S)
    assert east.pending() == []
