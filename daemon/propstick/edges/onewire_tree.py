"""A directory tree in the kernel's own 1-wire format, for the demo and for tests.

Files are real, so everything that reads probes is the same as on a Pi. What a plain file cannot do is
block while a probe converts: `blocking_trigger` does that part, on a clock of the caller's.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

from propstick.edges.scratchpad import POWER_ON, Scratchpad


class Tree:
    """A tree of bus masters and their DS18B20.

    Args:
        path: The directory that stands for `/sys/bus/w1/devices`; made if absent.
        conversion_ms: What the probes declare in `conv_time`. 0: nobody waits, nobody checks.
        bulk: Whether the masters have a bulk trigger.
    """

    def __init__(self, path: Path, *, conversion_ms: int = 0, bulk: bool = True) -> None:
        self.path = path
        self._conversion_ms = conversion_ms
        self._bulk = bulk
        self._master_of: dict[str, int] = {}
        self._bits: dict[str, int] = {}
        path.mkdir(parents=True, exist_ok=True)

    def add(self, probe: str, temperature_c: float = 15.0, *, master: int = 1, bits: int = 12) -> None:
        """Plugs a probe in."""
        self._master_of[probe] = master
        self._bits[probe] = bits
        home = self.master(master) / probe
        home.mkdir(parents=True, exist_ok=True)
        for name, text in (
            ("resolution", f"{bits}\n"),
            ("conv_time", f"{self._conversion_ms >> (12 - bits)}\n"),
            ("ext_power", "1\n"),
            ("features", "0\n"),
        ):
            _write(home / name, text)
        self.set(probe, temperature_c)
        link = self.path / probe
        if not link.is_symlink():
            link.symlink_to(home.relative_to(self.path), target_is_directory=True)
        self._list_slaves(master)

    def set(self, probe: str, temperature_c: float) -> None:
        """The probe's next reading. One not yet there is plugged into the first bus."""
        if probe not in self._master_of:
            self.add(probe, temperature_c)
            return
        self._show(probe, Scratchpad.of_temperature(temperature_c, bits=self._bits[probe]))

    def power_on(self, probe: str) -> None:
        """The probe lost power and has not measured since: 85 °C."""
        self._show(probe, POWER_ON)

    def bad_checksum(self, probe: str) -> None:
        """A transfer disturbed by a long or unearthed cable."""
        pad = Scratchpad.of_temperature(20.0)
        self._show(probe, Scratchpad(pad.data[:8] + bytes([pad.data[8] ^ 0x01])))

    def silence(self, probe: str) -> None:
        """The kernel gave up after some tries and leaves the file empty."""
        _write(self._file(probe), "")

    def short_circuit(self, probe: str) -> None:
        """Data wire on ground: nine zeros, whose checksum is right."""
        self._show(probe, Scratchpad(bytes(9)))

    def garble(self, probe: str, text: str) -> None:
        """Any other content."""
        _write(self._file(probe), text)

    def lose_file(self, probe: str) -> None:
        """The master still lists the probe, but its file is gone."""
        self._file(probe).unlink()

    def vanish(self, probe: str) -> None:
        """The probe is unplugged, and the kernel has noticed."""
        master = self._master_of.pop(probe)
        (self.path / probe).unlink()
        shutil.rmtree(self.master(master) / probe)
        self._list_slaves(master)

    def hang(self, probe: str) -> None:
        """Whoever reads the probe waits until `release`."""
        file = self._file(probe)
        file.unlink()
        os.mkfifo(file)

    def release(self, probe: str) -> None:
        """Lets a hanging reader go; it finds an empty file."""
        file = self._file(probe)
        with file.open("w"):
            pass
        self.silence(probe)

    def master(self, number: int) -> Path:
        """A bus master's directory, made at first use."""
        folder = self.path / f"w1_bus_master{number}"
        if not folder.is_dir():
            folder.mkdir(parents=True)
            _write(folder / "w1_master_slaves", "not found.\n")
            if self._bulk:
                _write(folder / "therm_bulk_read", "0\n")
        return folder

    def _list_slaves(self, master: int) -> None:
        probes = sorted(probe for probe, home in self._master_of.items() if home == master)
        _write(self.master(master) / "w1_master_slaves", "".join(f"{p}\n" for p in probes) or "not found.\n")

    def _show(self, probe: str, pad: Scratchpad) -> None:
        text = pad.slave_text()
        _write(self._file(probe), text)
        _write(self._file(probe).with_name("temperature"), text.rsplit("t=", 1)[1])

    def _file(self, probe: str) -> Path:
        return self.master(self._master_of[probe]) / probe / "w1_slave"


def blocking_trigger(sleep: Callable[[float], object], seconds: float) -> Callable[[Path], None]:
    """A trigger that takes its time as the kernel's does, for `WiredBus(trigger=…)`.

    Args:
        sleep: Passes the time: a hand-moved clock's `advance`, or `time.sleep`.
        seconds: How long; less than the conversion plays a failed one.
    """

    def trigger(file: Path) -> None:
        assert file.exists()
        sleep(seconds)

    return trigger


def _write(file: Path, text: str) -> None:
    """Replaces a file in one step: a reader finds the old or the new one, never half of it."""
    beside = file.with_name(f".{file.name}.new")
    beside.write_text(text)
    beside.replace(file)
