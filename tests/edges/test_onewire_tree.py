"""The tree that stands for the kernel's: its format, read by the library it is made for."""

import stat
import threading

import pytest
from w1thermsensor import ResetValueError, SensorNotReadyError, W1ThermSensor

from propstick.edges.onewire import find_buses
from propstick.edges.onewire_tree import Tree

PROBE = "28-00000a000001"


@pytest.fixture
def tree(tmp_path) -> Tree:
    grown = Tree(tmp_path / "w1", conversion_ms=750)
    grown.add(PROBE, 10.125)
    return grown


@pytest.fixture
def library(tree):
    """w1thermsensor alone, pointed at the tree."""
    return type("Pointed", (W1ThermSensor,), {"BASE_DIRECTORY": tree.path})


def test_the_library_lists_and_reads_it(library):
    """w1thermsensor 2.3 as the reference reader; 10.125 °C is register 00a2 (DS18B20 datasheet)."""
    (sensor,) = library.get_available_sensors()
    assert (sensor.id, sensor.name, sensor.get_temperature(), sensor.get_resolution()) == (
        "00000a000001", "DS18B20", 10.125, 12,
    )  # fmt: skip


def test_the_two_lines_are_the_kernels(tree):
    """Layout from the kernel's `w1_therm` documentation; bytes from the datasheet's power-on scratchpad."""
    tree.power_on(PROBE)
    assert (tree.path / PROBE / "w1_slave").read_text() == (
        "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n"
    )
    assert (tree.path / PROBE / "temperature").read_text() == "85000\n"


def test_faults_are_faults_to_the_library_too(tree, library):
    """Each as measured on it."""
    (sensor,) = library.get_available_sensors()
    tree.power_on(PROBE)
    with pytest.raises(ResetValueError):
        sensor.get_temperature()
    for mischief in (tree.bad_checksum, tree.silence, tree.short_circuit):
        mischief(PROBE)
        with pytest.raises(SensorNotReadyError):
            sensor.get_temperature()


@pytest.mark.parametrize(
    ("bits", "conversion_ms", "shown_c"), [(12, 750, 20.1875), (10, 187, 20.25), (9, 93, 20.0)]
)
def test_resolution_sets_step_and_conversion(tree, bits, conversion_ms, shown_c):
    """DS18B20 datasheet: steps 0.0625, 0.25, 0.5 °C; 750, 187.5, 93.75 ms."""
    tree.add(PROBE, 20.2, bits=bits)
    home = tree.path / PROBE
    assert int((home / "conv_time").read_text()) == conversion_ms
    assert int((home / "resolution").read_text()) == bits
    (bus,) = find_buses(tree.path)
    assert bus.read(60)[0].value == shown_c


def test_replacing_leaves_no_half_files(tree):
    """Nothing but the kernel's files stands in the probe's directory."""
    for k in range(5):
        tree.set(PROBE, k)
    names = {path.name for path in (tree.path / PROBE).iterdir()}
    assert names == {"w1_slave", "temperature", "resolution", "conv_time", "ext_power", "features"}


def test_a_hanging_probe_is_a_pipe_and_comes_back(tree):
    """Whoever reads it waits; after release it is a file again."""
    tree.hang(PROBE)
    assert stat.S_ISFIFO((tree.path / PROBE / "w1_slave").stat().st_mode)
    (bus,) = find_buses(tree.path)
    reader = threading.Thread(target=bus.read, args=(60,), daemon=True)
    reader.start()
    tree.release(PROBE)
    reader.join(5)
    assert not reader.is_alive()
    assert stat.S_ISREG((tree.path / PROBE / "w1_slave").stat().st_mode)
