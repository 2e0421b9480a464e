"""What the fakes can do beyond the ports' contracts (those are in edges/test_contracts.py)."""

import threading

import pytest

from propstick.ports import Delivery
from propstick.records import Notice, Reading
from propstick.testing import FakeBroker, FakeBus, FakeChannel, HandClock


def notice(text):
    return Notice(id=text, issued_s=0, boxes=("north",), kinds=("heat",), text=text)


def test_a_hand_clock_moves_both_clocks_by_a_wait():
    """A loop that waits runs as fast as it can, and says how long it waited."""
    clock = HandClock(1_784_000_000, monotonic_s=50.0)
    assert clock.wait(60) is False
    assert (clock.wall_s(), clock.monotonic_s(), clock.waits) == (1_784_000_060.0, 110.0, [60])


def test_a_hand_clock_stops_a_loop():
    """It wakes itself once the time is over, and not a second later."""
    clock = HandClock(0, monotonic_s=0.0, stop_after_s=150.0)
    assert [clock.wait(60), clock.wait(60), clock.wait(60)] == [False, False, True]
    assert (clock.wall_s(), clock.monotonic_s()) == (150.0, 150.0)
    assert clock.wait(60) is True
    assert clock.monotonic_s() == 150.0


def test_settings_of_the_wall_clock_can_be_planned():
    """A time server sets it forward after 90 s, and back after 150."""
    clock = HandClock(1000, monotonic_s=0.0)
    clock.plan_setting(150, -20)
    clock.plan_setting(90, 3600)
    clock.advance(60)
    assert clock.wall_s() == 1060
    clock.advance(60)
    assert clock.wall_s() == 1120 + 3600
    clock.advance(60)
    assert (clock.wall_s(), clock.monotonic_s()) == (1180 + 3600 - 20, 180.0)
    clock.set_wall(5)
    assert (clock.wall_s(), clock.monotonic_s()) == (5.0, 180.0)


def test_a_fake_bus_can_follow_a_source():
    """A simulation gives the values of each row."""
    bus = FakeBus(source=lambda row_s: {"p": row_s / 60})
    assert bus.read(600) == (Reading("p", 600_000, 10.0),)
    assert (bus.probes(), bus.rows) == (("p",), [600])


def test_a_fake_bus_can_hang():
    """Until it is let go."""
    bus = FakeBus(values={"p": 1.0})
    bus.hangs.clear()
    found: list = []
    reader = threading.Thread(target=lambda: found.extend(bus.read(60)), daemon=True)
    reader.start()
    assert reader.is_alive()
    assert found == []
    bus.hangs.set()
    reader.join(5)
    assert found == [Reading("p", 60_000, 1.0)]


def test_a_fake_channel_answers_in_order_then_takes_all():
    """Each planned answer once; what was refused was tried, not sent."""
    channel = FakeChannel(answers=[Delivery(ok=False, detail="busy")])
    assert [channel.send(notice(text)).ok for text in "abc"] == [False, True, True]
    assert [n.text for n in channel.tried] == ["a", "b", "c"]
    assert [n.text for n, _ in channel.sent] == ["b", "c"]


@pytest.mark.parametrize("is_up", [True, False])
def test_a_fake_broker_keeps_retained_topics_while_it_is_up(is_up):
    """An empty payload clears; while it is away nothing is taken."""
    broker = FakeBroker()
    broker.is_up = is_up
    assert broker.publish("alarms/north/heat", "{}") is is_up
    assert broker.retained == ({"alarms/north/heat": "{}"} if is_up else {})
    broker.publish("alarms/north/heat", "")
    assert broker.retained == {}


def test_a_fake_broker_passes_requests_once():
    """As (kind, body)."""
    broker = FakeBroker()
    broker.ask("lid", {"box": "north", "opening": 0.1})
    assert broker.take_requests() == (("lid", {"box": "north", "opening": 0.1}),)
    assert broker.take_requests() == ()
