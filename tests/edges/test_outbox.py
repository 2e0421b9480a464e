"""A notice stays in the outbox until a channel took it or trying again cannot help."""

import pytest

from propstick.edges.journal import Journal
from propstick.records import Outcome

NOW_S = 1_770_000_000


@pytest.fixture
def journal(store, make_notice):
    """Two notices for two channels."""
    journal = Journal(store, "home")
    notices = (make_notice(NOW_S, id="first"), make_notice(NOW_S + 60, id="second"))
    journal.commit(
        row_s=NOW_S + 60, readings=[], outcome=Outcome(notices=notices), route=lambda _: ("mail", "phone")
    )
    return journal


def waiting(journal, now_s):
    return [(o.notice.id, o.channel) for o in journal.outbox.waiting(now_s)]


def test_everything_due_waits_oldest_first(journal):
    """The first notice of all channels before the second of any."""
    assert waiting(journal, NOW_S) == [("first", "mail"), ("first", "phone")]
    assert waiting(journal, NOW_S + 60) == [
        ("first", "mail"), ("first", "phone"), ("second", "mail"), ("second", "phone"),
    ]  # fmt: skip


def test_delivered_is_done_once_and_for_all(journal):
    """A late report of failure does not send it again."""
    journal.outbox.delivered("first", "mail", NOW_S)
    journal.outbox.failed("first", "mail", NOW_S, "came late", NOW_S + 1)
    assert waiting(journal, NOW_S) == [("first", "phone")]


def test_failed_waits_for_its_next_try_and_says_why(journal):
    """Not due until then; counted as undelivered meanwhile."""
    journal.outbox.failed("first", "phone", NOW_S, "no network", NOW_S + 30)
    assert waiting(journal, NOW_S + 29) == [("first", "mail")]
    (again,) = [o for o in journal.outbox.waiting(NOW_S + 30) if o.channel == "phone"]
    assert (again.attempts, again.detail, again.next_try_s) == (1, "no network", NOW_S + 30)
    assert len(journal.outbox.undelivered()) == 4


def test_given_up_is_tried_no_more(journal):
    """Kept in the store, not in the way."""
    journal.outbox.failed("first", "phone", NOW_S, "address unknown", None)
    assert len(journal.outbox.undelivered()) == 3


def test_clock_set_back_does_not_hold_notices_for_years(journal):
    """A try planned by a clock that ran in 2099 is due now."""
    journal.outbox.failed("first", "phone", 4_000_000_000, "no network", 4_000_000_030)
    assert ("first", "phone") in waiting(journal, NOW_S)


def test_more_channels_can_be_planned_but_not_twice(journal):
    """What was delivered stays delivered."""
    journal.outbox.delivered("first", "mail", NOW_S)
    journal.outbox.plan("first", ["mail", "helper"], due_s=NOW_S)
    assert waiting(journal, NOW_S) == [("first", "helper"), ("first", "phone")]
