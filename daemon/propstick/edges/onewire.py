"""Wired probes, through the kernel's 1-wire files.

w1thermsensor lists and reads them. It converts one probe after the other; so before it reads, one
trigger starts all probes of a bus at once, and the reads that follow find the values ready.

What the kernel does not say, and this file therefore finds out (`drivers/w1/slaves/w1_therm.c`):

- a trigger whose bus reset failed reports success, and the old values come back with a good checksum.
  But it returns at once, where a real one blocks for the conversion: the write is timed.
- a trigger of any other length than eight bytes is ignored, and reported as written.
- each probe must be read once after each trigger, wanted or not: an unread one keeps its old value.
"""

from __future__ import annotations

import os
import re
import threading
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("W1THERMSENSOR_NO_KERNEL_MODULE", "1")  # else importing it runs modprobe and waits

from w1thermsensor import Sensor, SensorNotReadyError, W1ThermSensor, W1ThermSensorError

from propstick.blocks import Flag
from propstick.edges.scratchpad import decode
from propstick.errors import ProbeError
from propstick.records import Reading

KERNEL_TREE = Path("/sys/bus/w1/devices")
TRIGGER = b"trigger\n"
SLOWEST_CONVERSION_S = 0.75
"""12 bit, the factory setting (DS18B20 datasheet)."""
IN_TIME = 0.9
"""A trigger that blocked for less than this share of the conversion did not convert."""
BROKEN_AFTER = 2
"""Failed triggers in a row after which the probes are converted one by one."""
TRY_AGAIN_AFTER = 15
"""Rows read one by one before the trigger gets another chance."""
FAMILIES = frozenset(int(sensor) for sensor in Sensor)
_PROBE_ID = re.compile(r"[0-9a-f]{2}-[0-9a-f]{12}", re.IGNORECASE)


def write_trigger(file: Path) -> None:
    """Starts a conversion of every probe on a bus; blocks until it is over."""
    handle = os.open(file, os.O_WRONLY)
    try:
        if os.write(handle, TRIGGER) != len(TRIGGER):
            raise OSError(f"{file}: the trigger was not taken whole")
    finally:
        os.close(handle)


class WiredBus:
    """The probes of one bus master.

    Args:
        master: The master's directory, `…/w1_bus_master1`; or the tree itself, for probes that no
            master lists.
        tree: Where the probes' own directories are.
        conversion_s: How long a conversion takes; None asks the kernel's files. 0: not checked.
        trigger: Starts the conversion; replaced in tests.
        monotonic: Seconds, for timing it.
    """

    def __init__(
        self,
        master: Path,
        *,
        tree: Path,
        conversion_s: float | None = None,
        trigger: Callable[[Path], None] = write_trigger,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.name = master.name if master != tree else "w1"
        self._master = master
        self._tree = tree
        self._conversion_s = conversion_s
        self._trigger = trigger
        self._monotonic = monotonic
        # A class of its own: the library keeps its directory in a class attribute.
        self._sensor_class = type("TreeSensor", (W1ThermSensor,), {"BASE_DIRECTORY": tree})
        self._lock = threading.Lock()
        self._seen: tuple[str, ...] = ()
        self._failed = 0
        self._one_by_one = 0
        self._trouble = ""
        self._is_gone = False
        self.look()

    def probes(self) -> tuple[str, ...]:
        """Ids seen at the last look, sorted."""
        return self._seen

    def look(self) -> tuple[str, ...]:
        """Looks which probes the bus has now. Empty if it is gone."""
        self._seen = _slaves(self._master) if self._master != self._tree else _orphans(self._tree)
        return self._seen

    def trouble(self) -> str:
        """The bus is gone, or why its probes are not converted all at once though it can; else empty."""
        return "the bus is gone" if self._is_gone else self._trouble

    def read(self, row_s: int) -> tuple[Reading, ...]:
        """One reading per probe on the bus, stamped for the row.

        Raises:
            ProbeError: the whole bus is gone.
        """
        with self._lock:
            self._is_gone = not self._master.is_dir()
            if self._is_gone:
                raise ProbeError(
                    f"1-wire bus {self.name}: {self._master} is gone, expected a bus master's directory",
                    hint="is 1-wire switched on (dtoverlay=w1-gpio), and the adapter plugged in?",
                )
            probes = self.look()
            bits = self._convert(probes)
            return tuple(self._reading(probe, row_s, bits) for probe in probes)

    def _convert(self, probes: tuple[str, ...]) -> int:
        """Starts the conversion of all probes; returns the flags their values then deserve.

        Where there is no trigger, reading a probe converts it: slower, equally good.
        """
        file = self._master / "therm_bulk_read"
        if not probes:
            return 0
        if not file.exists():
            self._trouble = ""
            return 0
        if self._failed >= BROKEN_AFTER:
            self._one_by_one += 1
            if self._one_by_one <= TRY_AGAIN_AFTER:
                return 0
            self._one_by_one = 0
        needed_s = self._needed_s(probes)
        started_s = self._monotonic()
        try:
            self._trigger(file)
        except PermissionError as error:
            self._trouble = f"may not start conversions, reads one by one ({error.strerror})"
            return 0
        except OSError as error:
            return self._failed_trigger(f"conversion could not be started ({error.strerror})")
        took_s = self._monotonic() - started_s
        if took_s < needed_s * IN_TIME:
            return self._failed_trigger(f"conversion over in {took_s:.2f} s, expected {needed_s:.2f} s")
        self._failed = 0
        self._trouble = ""
        return 0

    def _failed_trigger(self, message: str) -> int:
        self._failed = min(self._failed + 1, BROKEN_AFTER)
        self._trouble = message
        return int(Flag.STALE_CONVERSION)

    def _needed_s(self, probes: tuple[str, ...]) -> float:
        """The longest conversion on the bus: what the kernel waits for."""
        if self._conversion_s is not None:
            return self._conversion_s
        declared = [_number(self._tree / probe / "conv_time") for probe in probes]
        known = [ms / 1000 for ms in declared if ms is not None]
        return max(known) if known else SLOWEST_CONVERSION_S

    def _reading(self, probe: str, row_s: int, bits: int) -> Reading:
        """One probe's reading. Whatever goes wrong with it becomes a flag."""
        value: float | None = None
        try:
            family = int(probe[:2], 16)
            sensor = self._sensor_class(Sensor(family), probe[3:])
            value, own_bits = decode(sensor.get_raw_sensor_strings(), family=family)
        except SensorNotReadyError:  # checksum, an empty file, or a bus shorted to ground
            own_bits = int(Flag.CHECKSUM)
        except (W1ThermSensorError, OSError, IndexError, ValueError):
            own_bits = int(Flag.NOT_A_NUMBER)
        return Reading(probe, row_s * 1000, value, own_bits | bits)


def find_buses(tree: Path = KERNEL_TREE) -> tuple[WiredBus, ...]:
    """Every bus master of the tree, and one bus more for probes that no master lists."""
    masters = sorted(path for path in _entries(tree) if path.name.startswith("w1_bus_master"))
    buses = [WiredBus(master, tree=tree) for master in masters]
    if _orphans(tree):
        buses.append(WiredBus(tree, tree=tree))
    return tuple(buses)


def _entries(folder: Path) -> list[Path]:
    try:
        return list(folder.iterdir())
    except OSError:
        return []


def _is_thermometer(name: str) -> bool:
    return bool(_PROBE_ID.fullmatch(name)) and int(name[:2], 16) in FAMILIES


def _slaves(master: Path) -> tuple[str, ...]:
    """The thermometers a master lists; the kernel says `not found.` where there are none."""
    try:
        listed = (master / "w1_master_slaves").read_text(errors="replace").split()
    except OSError:
        return ()
    return tuple(sorted(name for name in set(listed) if _is_thermometer(name)))


def _orphans(tree: Path) -> tuple[str, ...]:
    """Thermometers in the tree that no master lists."""
    entries = _entries(tree)
    listed = {probe for path in entries if path.name.startswith("w1_bus_master") for probe in _slaves(path)}
    return tuple(sorted(p.name for p in entries if _is_thermometer(p.name) and p.name not in listed))


def _number(file: Path) -> int | None:
    try:
        return int(file.read_text())
    except (OSError, ValueError):
        return None
