"""The same promises, kept by each real port and by its fake."""

import json
import threading

import pytest

from propstick.blocks import Flag
from propstick.edges.clock import SystemClock
from propstick.edges.mqtt import Broker
from propstick.edges.onewire import WiredBus
from propstick.edges.onewire_tree import Tree
from propstick.edges.push import AppriseChannel
from propstick.errors import ProbeError
from propstick.ports import Delivery
from propstick.records import Reading
from propstick.testing import FakeBroker, FakeBus, FakeChannel, HandClock

ROW_S = 1_784_000_040
NORTH, LANE = "28-00000a000001", "28-00000a000002"
BOTH = pytest.mark.parametrize("kind", ["real", "fake"])


# Clock


@pytest.fixture
def clock(kind):
    return SystemClock() if kind == "real" else HandClock()


@BOTH
def test_a_wait_lets_the_time_pass(clock):
    """On both clocks, at least as long as asked."""
    monotonic_s = clock.monotonic_s()
    assert clock.wait(1 / 64) is False
    assert clock.monotonic_s() - monotonic_s >= 1 / 64


@BOTH
def test_wake_ends_waits_for_good(clock):
    """A stopping program waits no more."""
    clock.wake()
    monotonic_s = clock.monotonic_s()
    assert clock.wait(3600) is True
    assert clock.wait(3600) is True
    assert clock.monotonic_s() - monotonic_s < 60


@BOTH
def test_times_are_plain_seconds(clock):
    """UTC seconds well after 2000, and a clock that only grows."""
    assert clock.wall_s() > 946_684_800
    assert clock.monotonic_s() <= clock.monotonic_s()


# ProbeBus


class RealBus:
    def __init__(self, folder):
        self.tree = Tree(folder / "w1")
        self.tree.add(NORTH, 21.5)
        self.tree.add(LANE, -3.25)
        self.bus = WiredBus(self.tree.master(1), tree=self.tree.path)

    def break_north(self):
        self.tree.bad_checksum(NORTH)

    def unplug_north(self):
        self.tree.vanish(NORTH)

    def lose_bus(self):
        self.tree.vanish(NORTH)
        self.tree.vanish(LANE)
        self.tree.master(1).rename(self.tree.path / "gone")


class PlayedBus:
    def __init__(self, _folder):
        self.bus = FakeBus("w1_bus_master1", {NORTH: 21.5, LANE: -3.25})

    def break_north(self):
        self.bus.values[NORTH] = None
        self.bus.flags[NORTH] = int(Flag.CHECKSUM)

    def unplug_north(self):
        del self.bus.values[NORTH]

    def lose_bus(self):
        self.bus.is_gone = True


@pytest.fixture
def wires(kind, tmp_path):
    return RealBus(tmp_path) if kind == "real" else PlayedBus(tmp_path)


@BOTH
def test_a_bus_reads_each_probe_once_for_the_row(wires):
    """Stamped with the row; the ids are those it names."""
    readings = wires.bus.read(ROW_S)
    assert sorted(readings, key=lambda r: r.probe) == [
        Reading(NORTH, ROW_S * 1000, 21.5), Reading(LANE, ROW_S * 1000, -3.25),
    ]  # fmt: skip
    assert wires.bus.probes() == (NORTH, LANE)
    assert wires.bus.name == "w1_bus_master1"


@BOTH
def test_a_faulty_probe_is_a_flagged_reading(wires):
    """The other one is as good as ever."""
    wires.break_north()
    found = {r.probe: (r.value, r.flags) for r in wires.bus.read(ROW_S)}
    assert found == {NORTH: (None, Flag.CHECKSUM), LANE: (-3.25, 0)}


@BOTH
def test_a_missing_probe_gives_no_reading(wires):
    """Silence is for the engine to judge."""
    wires.unplug_north()
    assert [r.probe for r in wires.bus.read(ROW_S)] == [LANE]


@BOTH
def test_a_lost_bus_raises_and_still_names_its_probes(wires):
    """`ProbeError` from read only."""
    wires.bus.read(ROW_S)
    wires.lose_bus()
    with pytest.raises(ProbeError, match="w1_bus_master1"):
        wires.bus.read(ROW_S + 60)
    assert isinstance(wires.bus.probes(), tuple)


# Channel


class RealChannel:
    def __init__(self, web):
        self._web = web
        self.channel = AppriseChannel(f"json://127.0.0.1:{web.port}/", "phone")

    def refuse_once(self):
        self._web.status = 503

    def recover(self):
        self._web.status = 200

    def texts(self):
        return [post["message"] for post in self._web.posts]


class PlayedChannel:
    def __init__(self, _web):
        self.channel = FakeChannel("phone")

    def refuse_once(self):
        self.channel.answers.append(Delivery(ok=False, detail="the server answered 503"))

    def recover(self):
        pass

    def texts(self):
        return [f"{n.text}\n{link}" if link else n.text for n, link in self.channel.sent]


@pytest.fixture
def phone(kind, web):
    return RealChannel(web) if kind == "real" else PlayedChannel(web)


@BOTH
def test_a_channel_hands_over_text_and_link(phone, make_notice):
    """And says that it did."""
    assert phone.channel.name == "phone"
    assert phone.channel.send(make_notice(text="Open north")) == Delivery(ok=True)
    assert phone.channel.send(make_notice(text="Open lane"), link="http://pi/1").ok
    assert phone.texts() == ["Open north", "Open lane\nhttp://pi/1"]


@BOTH
def test_a_refused_notice_is_a_result_not_an_exception(phone, make_notice):
    """With a reason; it may be tried again."""
    phone.refuse_once()
    assert phone.channel.send(make_notice()) == Delivery(ok=False, detail="the server answered 503")
    phone.recover()
    assert phone.channel.send(make_notice()).ok


# Inbox and Publisher


class RealMail:
    """A Broker on the real mosquitto, and a node that writes to it."""

    def __init__(self, home, until):
        self._home, self._until = home, until
        self._client_id = f"contract-{threading.get_ident()}-{id(self)}"
        self._node = home.node("shed")
        self._live()

    def _live(self):
        self.broker = Broker(self._home.access(client_id=self._client_id), "plot")
        self.broker.start()
        assert self.broker.wait_connected(10)

    def put(self, *readings):
        for r in readings:
            pack = [{"n": r.probe.removeprefix("shed/"), "t": r.time_ms / 1000, "v": r.value}]
            self._node.publish("propstick/plot/readings/shed", json.dumps(pack), qos=1).wait_for_publish(10)
        assert self._until(lambda: len(self.broker._waiting) >= len(readings))

    def die_and_return(self, expected):
        link = self.broker._line.client.socket()
        self.broker._line.client.loop_stop()
        link.close()
        self._live()
        assert self._until(lambda: len(self.broker._waiting) >= expected)

    def close(self):
        self.broker.stop()
        self._node.disconnect()
        self._node.loop_stop()


class PlayedMail:
    def __init__(self, *_):
        self.broker = FakeBroker()

    def put(self, *readings):
        self.broker.put(*readings)

    def die_and_return(self, expected):
        self.broker.reborn()

    def close(self):
        pass


@pytest.fixture
def mail(kind, request):
    if kind == "real":
        made = RealMail(request.getfixturevalue("broker_home"), request.getfixturevalue("until"))
    else:
        made = PlayedMail()
    yield made
    made.close()


MAIL = pytest.mark.parametrize(
    "kind", [pytest.param("real", marks=[pytest.mark.broker, pytest.mark.slow]), "fake"]
)
FIRST, SECOND = Reading("shed/air", ROW_S * 1000, 4.5), Reading("shed/soil", ROW_S * 1000 + 500, 8.25)


@MAIL
def test_an_inbox_gives_each_reading_once_oldest_first(mail):
    """What was taken is not there a second time."""
    mail.put(FIRST, SECOND)
    assert tuple(mail.broker.take()) == (FIRST, SECOND)
    assert tuple(mail.broker.take()) == ()


@MAIL
def test_what_was_committed_stays_away_and_the_rest_comes_again(mail):
    """The watch dies after committing the first and only taking the second."""
    mail.put(FIRST)
    mail.broker.take()
    mail.broker.committed()
    mail.put(SECOND)
    mail.broker.take()
    mail.die_and_return(1)
    assert tuple(mail.broker.take()) == (SECOND,)
    mail.broker.committed()
    mail.die_and_return(0)
    assert tuple(mail.broker.take()) == ()


@MAIL
def test_a_publisher_takes_and_clears_retained_topics(mail):
    """It never waits, and says True for what it will tell."""
    assert mail.broker.publish("boxes/north/now", "{}") is True
    assert mail.broker.publish("boxes/north/now", "") is True
    assert mail.broker.take_requests() == ()


@MAIL
def test_a_publisher_finds_the_alarm_topics_a_life_before_left_standing(mail, until):
    """Each once; and none that it has published itself."""
    assert mail.broker.publish("alarms/north/heat", "{}")
    assert mail.broker.publish("boxes/north/now", "{}")
    mail.die_and_return(0)
    found = set()
    assert until(lambda: found.update(mail.broker.strays()) or found)
    assert found == {"alarms/north/heat"}
    assert mail.broker.publish("alarms/north/heat", "")
    mail.die_and_return(0)
    assert mail.broker.strays() == frozenset()
