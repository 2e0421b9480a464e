"""The nine bytes of a DS18B20 and its relatives, as the kernel's `w1_slave` file shows them.

The library that lists and reads the probes cannot tell a real 85.0 °C from the value a chip holds
before its first conversion; the bytes can. Layout and values: DS18B20 datasheet (Maxim/Analog
Devices), "Memory"; the check for values never converted is that of the kernel's `w1_therm`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from propstick.blocks import Flag

NEVER_CONVERTED = (0x0550, 0x07FF)
"""85.0 and 127.9375 °C: with byte 6 still 0x0c, no conversion was ever made."""
POWER_ON_BYTE_6 = 0x0C
COUNTS_PER_C = 16
_LINE = re.compile(r"((?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (YES|NO)", re.IGNORECASE)
_MILLIDEGREES = re.compile(r"t=(-?\d{1,7})\s*$")
_PLAIN_REGISTER = frozenset({0x22, 0x28, 0x42})
"""Families whose first two bytes are sixteenths of a degree. For others the kernel's own `t=` counts."""


def crc8(data: bytes) -> int:
    """Checksum of a 1-wire transfer: x⁸+x⁵+x⁴+1, start 0, low bit first (Maxim application note 27)."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
    return crc


@dataclass(frozen=True)
class Scratchpad:
    """Nine bytes as read from the chip; the ninth is the checksum."""

    data: bytes

    @property
    def is_intact(self) -> bool:
        """Whether the checksum fits. Nine zeros fit too, but are a bus shorted to ground."""
        return len(self.data) == 9 and any(self.data) and crc8(self.data[:8]) == self.data[8]

    @property
    def bits(self) -> int:
        """Resolution, 9–12, from the configuration byte."""
        return 9 + (self.data[4] >> 5 & 0b11)

    @property
    def temperature_c(self) -> float:
        """The register's temperature; bits its resolution leaves undefined are cleared."""
        count = int.from_bytes(self.data[:2], "little", signed=True)
        undefined = 12 - self.bits
        return (count >> undefined << undefined) / COUNTS_PER_C

    @property
    def was_never_converted(self) -> bool:
        """Whether this is what the chip holds after power came on."""
        word = int.from_bytes(self.data[:2], "little")
        return word in NEVER_CONVERTED and self.data[6] == POWER_ON_BYTE_6

    @staticmethod
    def of_temperature(temperature_c: float, *, bits: int = 12) -> Scratchpad:
        """What a genuine chip holds after it measured this (nearest step of its resolution)."""
        step = 1 << (12 - bits)
        count = round(temperature_c * COUNTS_PER_C / step) * step
        low, high = (count & 0xFFFF).to_bytes(2, "little")
        # A genuine chip leaves 16 minus the low four bits in byte 6: never 0x0c at 85.0.
        body = bytes([low, high, 0x4B, 0x46, (bits - 9) << 5 | 0x1F, 0xFF, 0x10 - (low & 0x0F), 0x10])
        return Scratchpad(body + bytes([crc8(body)]))

    def slave_text(self) -> str:
        """The two lines of the kernel's `w1_slave` file."""
        shown = " ".join(f"{byte:02x}" for byte in self.data)
        verdict = "YES" if crc8(self.data[:8]) == self.data[8] else "NO"
        count = int.from_bytes(self.data[:2], "little", signed=True)
        milli = int(count * 1000 / COUNTS_PER_C)
        return f"{shown} : crc={crc8(self.data[:8]):02x} {verdict}\n{shown} t={milli}\n"


POWER_ON = Scratchpad(bytes.fromhex("50 05 4b 46 7f ff 0c 10 1c"))
"""A chip that has just got power (datasheet, scratchpad at power-on)."""


def decode(lines: list[str], *, family: int) -> tuple[float | None, int]:
    """A `w1_slave` file as (temperature [°C], `Flag` bits).

    Args:
        lines: The file's lines; the kernel leaves it empty after failed tries.
        family: First byte of the probe's id.

    Returns:
        The value as sensed, kept also where it must not be used; None where the bytes are no measurement.
    """
    match = _LINE.match(lines[0]) if lines else None
    if match is None:
        return None, int(Flag.NOT_A_NUMBER if "".join(lines).strip() else Flag.CHECKSUM)
    pad = Scratchpad(bytes.fromhex(match[1]))
    if match[2] != "YES" or not pad.is_intact:
        return None, int(Flag.CHECKSUM)
    if family in _PLAIN_REGISTER:
        value = pad.temperature_c
    else:
        milli = _MILLIDEGREES.search(lines[1]) if len(lines) > 1 else None
        if milli is None:
            return None, int(Flag.NOT_A_NUMBER)
        value = int(milli[1]) / 1000
    never = pad.was_never_converted or (value == 85.0 and pad.data[6] == POWER_ON_BYTE_6)
    return value, int(Flag.POWER_ON) if never else 0
