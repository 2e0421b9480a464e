"""The sampler: a row never waits for what does not come, and nothing that comes is lost."""

import threading

import pytest

from propstick.app.live.sampler import Sampler
from propstick.blocks import Flag
from propstick.records import Reading
from propstick.testing import FakeBroker, FakeBus

ROW_S = 1_790_000_040 // 60 * 60


def flags(readings):
    return {(r.probe, r.time_ms // 1000 - ROW_S): r.flags for r in readings}


@pytest.fixture
def bus():
    return FakeBus("one", {"a": 5.0, "b": 6.0})


def test_a_row_holds_all_buses(bus):
    sampler = Sampler([bus, FakeBus("two", {"c": 7.0})], step_s=60)
    assert sorted((r.probe, r.value) for r in sampler.row(ROW_S)) == [("a", 5.0), ("b", 6.0), ("c", 7.0)]
    sampler.stop()


def test_a_hanging_bus_costs_its_own_probes_only(bus):
    """It is waited for once; its late answer comes with the next row and says which row it is of."""
    slow = FakeBus("slow", {"s": 1.0})
    slow.hangs.clear()
    sampler = Sampler([slow, bus], step_s=60, deadline_s=0.05)
    assert {r.probe for r in sampler.row(ROW_S)} == {"a", "b"}
    assert {r.probe for r in sampler.row(ROW_S + 60)} == {"a", "b"}
    slow.hangs.set()
    deadline = threading.Event()
    found = []
    for k in range(2, 60):
        found = [r for r in sampler.row(ROW_S + 60 * k) if r.probe == "s"]
        if found:
            break
        deadline.wait(0.01)
    late = next(r for r in found if r.time_ms == ROW_S * 1000)
    assert late.flags == Flag.LATE
    sampler.stop()


def test_a_bus_that_is_gone_does_not_end_the_row_nor_fill_the_log(bus, caplog):
    gone = FakeBus("gone", {"g": 1.0})
    gone.is_gone = True
    sampler = Sampler([gone, bus], step_s=60)
    for k in range(5):
        assert {r.probe for r in sampler.row(ROW_S + 60 * k)} == {"a", "b"}
    gone.is_gone = False
    assert {r.probe for r in sampler.row(ROW_S + 300)} == {"a", "b", "g"}
    gone.is_gone = True
    sampler.row(ROW_S + 360)
    sampler.stop()
    assert [message.partition(" ")[0] for message in caplog.messages] == ["bus-lost"] * 2


def test_wireless_readings_find_their_rows():
    """Of this row: as it is. Of the one before: taken by this one. Older: late. Ahead: kept."""
    broker = FakeBroker()
    sampler = Sampler([], [broker], step_s=60)
    broker.put(
        Reading("n/x", (ROW_S - 10) * 1000, 1.0),
        Reading("n/x", (ROW_S - 70) * 1000, 2.0),
        Reading("n/x", (ROW_S - 200) * 1000, 3.0),
        Reading("n/x", (ROW_S + 20) * 1000, 4.0),
        Reading("n/x", (ROW_S + 86_400) * 1000, 5.0),
        Reading("n/x", 1000, 6.0),
    )
    assert flags(sampler.row(ROW_S)) == {
        ("n/x", -10): 0,
        ("n/x", -70): Flag.NEXT_ROW,
        ("n/x", -200): Flag.LATE,
        ("n/x", 86_400): Flag.CLOCK,
        ("n/x", 1 - ROW_S): Flag.CLOCK,
    }
    assert flags(sampler.row(ROW_S + 60)) == {("n/x", 20): 0}
