"""Wired probes: w1thermsensor reading a real directory tree, and what the bulk trigger hides."""

import os
import threading
from pathlib import Path

import pytest
from w1thermsensor import W1ThermSensor

from propstick.blocks import Flag
from propstick.edges.onewire import BROKEN_AFTER, TRY_AGAIN_AFTER, WiredBus, find_buses, write_trigger
from propstick.edges.onewire_tree import Tree, blocking_trigger
from propstick.errors import ProbeError
from propstick.testing import HandClock

ROW_S = 1_784_000_040
NORTH, LANE, SOIL = "28-00000a000001", "28-00000a000002", "28-00000b000001"


@pytest.fixture
def tree(tmp_path) -> Tree:
    """Two buses: two probes on the first, one on the second; 12 bit."""
    grown = Tree(tmp_path / "w1", conversion_ms=750)
    grown.add(NORTH, 21.5)
    grown.add(LANE, -3.25)
    grown.add(SOIL, 8.0625, master=2)
    return grown


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


@pytest.fixture
def make_bus(tree, clock):
    """The first bus, whose trigger takes `trigger_s` of the hand-moved clock."""

    def make(trigger_s=0.76, **more) -> WiredBus:
        given = {
            "trigger": blocking_trigger(clock.advance, trigger_s),
            "monotonic": clock.monotonic_s,
            **more,
        }
        return WiredBus(tree.master(1), tree=tree.path, **given)

    return make


def as_dict(readings):
    return {r.probe: (r.value, r.flags) for r in readings}


def test_probes_are_found_by_the_master_they_hang_on(tree):
    """`w1_master_slaves` says who belongs where; what no master lists makes a bus of its own."""
    stray = tree.path / "28-00000c000001"
    stray.mkdir()
    (tree.path / "00-800000000000").mkdir()
    found = {bus.name: bus.probes() for bus in find_buses(tree.path)}
    assert found == {
        "w1_bus_master1": (NORTH, LANE), "w1_bus_master2": (SOIL,), "w1": ("28-00000c000001",),
    }  # fmt: skip


def test_no_tree_no_buses(tmp_path):
    """A laptop has none; that is no fault."""
    assert find_buses(tmp_path / "absent") == ()


def test_an_empty_master_has_no_probes(tmp_path):
    """The kernel writes `not found.`"""
    tree = Tree(tmp_path)
    tree.master(1)
    (bus,) = find_buses(tmp_path)
    assert bus.probes() == ()
    assert bus.read(ROW_S) == ()


def test_values_are_read_and_stamped_for_the_row(make_bus):
    """Two good probes."""
    readings = make_bus().read(ROW_S)
    assert as_dict(readings) == {NORTH: (21.5, 0), LANE: (-3.25, 0)}
    assert {r.time_ms for r in readings} == {ROW_S * 1000}


@pytest.mark.parametrize(
    ("mischief", "expected"),
    [
        ("power_on", (85.0, Flag.POWER_ON)),
        ("bad_checksum", (None, Flag.CHECKSUM)),
        ("silence", (None, Flag.CHECKSUM)),
        ("short_circuit", (None, Flag.CHECKSUM)),
        ("lose_file", (None, Flag.NOT_A_NUMBER)),
    ],
)
def test_trouble_with_one_probe_is_its_own(tree, make_bus, mischief, expected):
    """A flagged reading for it, a good one for its neighbour, no exception."""
    getattr(tree, mischief)(NORTH)
    assert as_dict(make_bus().read(ROW_S)) == {NORTH: expected, LANE: (-3.25, 0)}


@pytest.mark.parametrize("text", ["one line only YES\n", "\x00\x01\x02", "z" * 5000, "50 05 YES\n\n"])
def test_rubbish_in_the_file_is_a_flag(tree, make_bus, text):
    """Whatever it holds."""
    tree.garble(NORTH, text)
    value, flags = as_dict(make_bus().read(ROW_S))[NORTH]
    assert value is None
    assert flags in (Flag.CHECKSUM, Flag.NOT_A_NUMBER)


def test_a_genuine_85_is_kept(tree, make_bus):
    """w1thermsensor refuses it; the bytes tell."""
    tree.set(NORTH, 85.0)
    assert as_dict(make_bus().read(ROW_S))[NORTH] == (85.0, 0)


def test_probes_come_and_go(tree, make_bus):
    """Unplugged: no reading. Plugged in: read at the next row."""
    bus = make_bus()
    tree.vanish(NORTH)
    assert as_dict(bus.read(ROW_S)) == {LANE: (-3.25, 0)}
    tree.add(NORTH, 5.0)
    assert set(as_dict(bus.read(ROW_S + 60))) == {NORTH, LANE}
    assert bus.probes() == (NORTH, LANE)


def test_a_bus_that_is_gone_says_so(tree, make_bus):
    """The adapter was unplugged."""
    bus = make_bus()
    for probe in (NORTH, LANE):
        tree.vanish(probe)
    master = tree.master(1)
    master.rename(master.with_name("gone"))
    assert bus.probes() == (NORTH, LANE)
    with pytest.raises(ProbeError, match="w1_bus_master1"):
        bus.read(ROW_S)
    assert bus.trouble() == "the bus is gone"
    master.with_name("gone").rename(master)
    bus.read(ROW_S + 60)
    assert bus.trouble() == ""


# The bulk trigger


def test_one_trigger_serves_the_whole_bus(make_bus):
    """One conversion a row, however many probes."""
    triggered: list[Path] = []
    bus = make_bus(trigger=triggered.append, conversion_s=0)
    bus.read(ROW_S)
    assert [file.name for file in triggered] == ["therm_bulk_read"]


def test_each_probe_is_read_once_a_row(make_bus, monkeypatch):
    """A second read in the same row would cost a conversion of its own."""
    read: list[str] = []
    theirs = W1ThermSensor.get_raw_sensor_strings
    monkeypatch.setattr(
        W1ThermSensor, "get_raw_sensor_strings", lambda self: (read.append(self.id), theirs(self))[1]
    )
    make_bus().read(ROW_S)
    assert sorted(read) == [NORTH[3:], LANE[3:]]


def test_the_trigger_is_eight_bytes_in_one_write(tmp_path):
    """Any other length is ignored by the kernel and reported as written."""
    pipe = tmp_path / "therm_bulk_read"
    os.mkfifo(pipe)
    reading_end = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_trigger(pipe)
        assert os.read(reading_end, 100) == b"trigger\n"
    finally:
        os.close(reading_end)


def test_a_trigger_that_returns_too_soon_is_not_believed(tree, make_bus):
    """Its values have good checksums and are old."""
    bus = make_bus(trigger_s=0.01)
    assert as_dict(bus.read(ROW_S)) == {
        NORTH: (21.5, Flag.STALE_CONVERSION), LANE: (-3.25, Flag.STALE_CONVERSION),
    }  # fmt: skip


@pytest.mark.parametrize(("bits", "is_stale"), [(12, True), (11, False), (9, False)])
def test_the_conversion_time_is_that_of_the_slowest_probe(tree, make_bus, bits, is_stale):
    """DS18B20 datasheet: 750 ms at 12 bit, 375 at 11, 93.75 at 9. The trigger took 400."""
    for probe in (NORTH, LANE):
        tree.add(probe, 20.0, bits=bits)
    flags = {flag for _, flag in as_dict(make_bus(trigger_s=0.4).read(ROW_S)).values()}
    assert flags == {Flag.STALE_CONVERSION if is_stale else 0}


def test_a_kernel_without_conv_time_is_taken_for_twelve_bit(tree, make_bus):
    """The factory setting, the safe side."""
    for probe in (NORTH, LANE):
        (tree.path / probe / "conv_time").unlink()
    assert as_dict(make_bus(trigger_s=0.7).read(ROW_S))[NORTH] == (21.5, 0)
    assert as_dict(make_bus(trigger_s=0.4).read(ROW_S))[NORTH] == (21.5, Flag.STALE_CONVERSION)


def test_a_trigger_that_keeps_failing_is_left_out_and_tried_again(tree, clock, make_bus):
    """Then each read converts for itself; after a while the trigger gets another chance."""
    tries: list[Path] = []
    bus = make_bus(trigger=tries.append)
    flags = [as_dict(bus.read(ROW_S + 60 * k))[NORTH][1] for k in range(BROKEN_AFTER + TRY_AGAIN_AFTER + 1)]
    stale = int(Flag.STALE_CONVERSION)
    assert flags == [stale] * BROKEN_AFTER + [0] * TRY_AGAIN_AFTER + [stale]
    assert len(tries) == BROKEN_AFTER + 1


def test_a_trigger_that_recovers_is_used_again(make_bus, clock):
    """One failed trigger costs one row."""
    takes = [0.01, 0.8, 0.8]
    bus = make_bus(trigger=lambda file: clock.advance(takes.pop(0)))
    assert as_dict(bus.read(ROW_S))[LANE][1] == Flag.STALE_CONVERSION
    assert bus.trouble() == "conversion over in 0.01 s, expected 0.75 s"
    assert [as_dict(bus.read(ROW_S + 60 * k))[LANE][1] for k in (1, 2)] == [0, 0]
    assert bus.trouble() == ""


@pytest.mark.parametrize("error", [PermissionError("not root"), FileNotFoundError("gone meanwhile")])
def test_a_trigger_that_may_not_be_pulled_leaves_the_reads(make_bus, error):
    """Without the right to write, probes are converted one by one: slower, equally good."""

    def refuse(file):
        raise error

    bus = make_bus(trigger=refuse)
    values = as_dict(bus.read(ROW_S))
    assert {value for value, _ in values.values()} == {21.5, -3.25}
    assert bus.trouble() != ""
    if isinstance(error, PermissionError):
        assert {flags for _, flags in values.values()} == {0}


def test_no_bulk_file_no_trigger(tmp_path):
    """Old kernels, and all but the first channel of some bridges."""
    tree = Tree(tmp_path, conversion_ms=750, bulk=False)
    tree.add(NORTH, 12.0)
    (bus,) = find_buses(tmp_path)
    assert as_dict(bus.read(ROW_S)) == {NORTH: (12.0, 0)}


def test_plain_files_that_declare_no_conversion_are_believed(tmp_path):
    """The demo's tree: nobody waits, nobody checks."""
    tree = Tree(tmp_path)
    tree.set(NORTH, 12.0)
    (bus,) = find_buses(tmp_path)
    assert [as_dict(bus.read(ROW_S + 60 * k))[NORTH] for k in range(3)] == [(12.0, 0)] * 3


def test_a_hanging_probe_holds_its_own_bus_only(tree):
    """One thread a master: the other bus answers meanwhile."""
    first, second = (WiredBus(tree.master(k), tree=tree.path, conversion_s=0) for k in (1, 2))
    tree.hang(NORTH)
    found: list = []
    reader = threading.Thread(target=lambda: found.extend(first.read(ROW_S)))
    reader.start()
    assert as_dict(second.read(ROW_S)) == {SOIL: (8.0625, 0)}
    assert reader.is_alive()
    tree.release(NORTH)
    reader.join(5)
    assert as_dict(found) == {NORTH: (None, Flag.CHECKSUM), LANE: (-3.25, 0)}
