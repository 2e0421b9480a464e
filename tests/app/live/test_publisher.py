"""What the watch says on the broker of alarms: what stands, and nothing left over from a life before."""

import json
from dataclasses import dataclass

import pytest

from propstick.app.live.publisher import StatePublisher
from propstick.records import Alarm, AlarmChange, Outcome
from propstick.testing import FakeBroker

NOW_S = 1_790_251_200


def alarm(box="north", kind="heat"):
    return Alarm(
        id=f"{box}.{kind}", box=box, kind=kind, state="unacknowledged", raised_s=NOW_S, begun_s=NOW_S
    )


@dataclass
class State:
    open_alarms: tuple[Alarm, ...] = ()


@pytest.fixture
def broker():
    return FakeBroker()


def test_an_alarm_stands_while_it_is_open_and_is_told_once(broker):
    say = StatePublisher(broker).on_row
    raised = AlarmChange(NOW_S, "raised", alarm())
    say(NOW_S, State((alarm(),)), Outcome(changes=(raised,)), ())
    say(NOW_S + 60, State((alarm(),)), Outcome(), ())
    assert [topic for topic, _ in broker.published] == ["alarms/north/heat"]
    assert json.loads(broker.retained["alarms/north/heat"])["box"] == "north"
    say(NOW_S + 120, State(), Outcome(changes=(AlarmChange(NOW_S, "returned", alarm()),)), ())
    assert broker.retained == {}


def test_what_a_life_before_left_standing_is_put_right_and_nothing_else_is_told(broker):
    """One alarm ended while nobody watched, one is still open: one topic cleared, one told anew."""
    before = StatePublisher(broker).on_row
    gone, stays = alarm("north"), alarm("south")
    changes = tuple(AlarmChange(NOW_S, "raised", one) for one in (gone, stays))
    before(NOW_S, State((gone, stays)), Outcome(changes=changes), ())
    broker.reborn()
    broker.published.clear()
    StatePublisher(broker).on_row(NOW_S + 600, State((stays,)), Outcome(), ())
    assert [topic for topic, _ in broker.published] == ["alarms/north/heat", "alarms/south/heat"]
    assert list(broker.retained) == ["alarms/south/heat"]


def test_what_is_found_standing_later_is_put_right_at_the_next_row(broker):
    """The broker was not there at the first row."""
    say = StatePublisher(broker).on_row
    say(NOW_S, State(), Outcome(), ())
    broker.retained["alarms/north/frost"] = "{}"
    broker.reborn()
    say(NOW_S + 60, State(), Outcome(), ())
    assert broker.retained == {}
