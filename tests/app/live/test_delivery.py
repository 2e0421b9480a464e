"""The delivery desk when store or channels refuse: nothing rings twice, nothing holds up the rest."""

from collections import Counter

import pytest

from propstick.app.live.delivery import RETRY_AFTER_S, WORTHLESS_AFTER_S, DeliveryDesk
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.errors import StoreError
from propstick.ports import Delivery
from propstick.records import Notice, Outcome
from propstick.testing import FakeChannel, HandClock

NOW_S = 1_790_251_200
FAILED = Delivery(ok=False, detail="HTTP 500")


def notices(count, *, first=0):
    return tuple(
        Notice(id=f"n{k}", issued_s=NOW_S + k, boxes=("north",), kinds=("heat",), text=f"Open north {k}")
        for k in range(first, first + count)
    )


@pytest.fixture
def desk(tmp_path):
    """A desk with a phone and a mail box, on a real store."""
    store = open_store(f"sqlite:///{tmp_path / 'd.db'}")
    journal = Journal(store, "plot")
    channels = {name: FakeChannel(name) for name in ("mail", "phone")}
    desk = DeliveryDesk(journal, channels, HandClock(NOW_S + 60))
    desk.journal, desk.channels = journal, channels
    yield desk
    store.close()


def stored(desk, *told):
    desk.journal.commit(row_s=NOW_S, readings=[], outcome=Outcome(notices=told), route=desk.route)


def got(desk, name):
    return Counter(notice.id for notice, _ in desk.channels[name].sent)


def full_disk(*_args, **_more):
    raise StoreError("store: the disk is full", reason="full")


def test_a_disk_full_after_the_notice_was_stored_rings_once(desk, monkeypatch):
    """That it was sent cannot be noted; still it is not sent again, and those behind it go out."""
    stored(desk, *notices(3))
    with monkeypatch.context() as full:
        full.setattr(desk.journal.outbox, "delivered", full_disk)
        for _ in range(5):
            desk.work_once()
            desk._clock.advance(40)
    assert got(desk, "phone") == got(desk, "mail") == {"n0": 1, "n1": 1, "n2": 1}
    desk.work_once()
    assert desk.journal.outbox.undelivered() == []
    assert set(got(desk, "phone").values()) == {1}


def test_what_the_store_never_took_is_tried_until_the_channel_takes_it(desk):
    """A full disk and a network that is away for a minute: the warning arrives late, and once."""
    desk.channels["phone"].answers.extend([FAILED, FAILED])
    desk.send_unstored(notices(1))
    for _ in range(8):
        desk.work_once()
        desk._clock.advance(RETRY_AFTER_S[0])
    assert got(desk, "phone") == got(desk, "mail") == {"n0": 1}
    stored(desk, *notices(1))  # the disk has room again
    desk.work_once()
    assert desk.journal.outbox.undelivered() == []
    assert got(desk, "phone") == {"n0": 1}


def test_what_the_store_never_took_does_not_ring_a_day_later(desk):
    desk.channels["phone"].answers.extend([FAILED] * 1000)
    desk.send_unstored(notices(1))
    for _ in range(2 * WORTHLESS_AFTER_S // 600):
        desk.work_once()
        desk._clock.advance(600)
    desk.channels["phone"].answers.clear()
    desk.work_once()
    assert got(desk, "phone") == {}
    assert desk._unstored == {}


def test_a_channel_that_fails_holds_the_other_up_by_one_try(desk):
    """Five notices wait for both: the failing one is asked once a round, the other gets all at once."""
    stored(desk, *notices(5))
    desk.channels["mail"].answers.extend([FAILED] * 3)
    desk.work_once()
    assert len(desk.channels["mail"].tried) == 1
    assert set(got(desk, "phone").values()) == {1}
    assert len(got(desk, "phone")) == 5


def test_one_refused_message_does_not_starve_those_behind_it(desk):
    """What was never tried comes before what was refused."""
    stored(desk, *notices(2))
    desk.channels["mail"].answers.append(FAILED)
    desk.work_once()
    desk._clock.advance(RETRY_AFTER_S[0])
    desk.work_once()
    assert [notice.id for notice in desk.channels["mail"].tried][:3] == ["n0", "n1", "n0"]
    assert got(desk, "mail") == {"n0": 1, "n1": 1}
