"""Nine bytes to a temperature: the datasheet's table, the checksum, and values that are no measurement."""

import random

import pytest
from w1thermsensor.core import evaluate_resolution, evaluate_temperature
from w1thermsensor.sensors import Sensor
from w1thermsensor.units import Unit

from propstick.blocks import Flag
from propstick.edges.scratchpad import POWER_ON, Scratchpad, crc8, decode

DATASHEET = [
    (125.0, 0x07D0), (85.0, 0x0550), (25.0625, 0x0191), (10.125, 0x00A2), (0.5, 0x0008), (0.0, 0x0000),
    (-0.5, 0xFFF8), (-10.125, 0xFF5E), (-25.0625, 0xFE6F), (-55.0, 0xFC90),
]  # fmt: skip
"""DS18B20 datasheet (Analog Devices/Maxim), table "Temperature/Data Relationship"."""


def test_checksum_of_the_power_on_scratchpad():
    """DS18B20 datasheet's power-on bytes: checksum 1c."""
    assert crc8(bytes.fromhex("50054b467fff0c10")) == 0x1C


def test_checksum_of_application_note_27():
    """Maxim application note 27: ROM 02 1C B8 01 00 00 00 has CRC A2, and all eight bytes give 0."""
    assert crc8(bytes.fromhex("021cb801000000")) == 0xA2
    assert crc8(bytes.fromhex("021cb801000000a2")) == 0


@pytest.mark.parametrize(("temperature_c", "word"), DATASHEET)
def test_registers_of_the_datasheet(temperature_c, word):
    """Every printed register, both ways."""
    pad = Scratchpad.of_temperature(temperature_c)
    assert int.from_bytes(pad.data[:2], "little") == word
    assert decode(pad.slave_text().splitlines(), family=0x28) == (temperature_c, 0)


@pytest.mark.parametrize("bits", [9, 10, 11, 12])
def test_resolution_and_value_agree_with_w1thermsensor(bits):
    """The library as an outside reference, over the whole range (85.0 apart, which it refuses)."""
    chance = random.Random(bits)
    for _ in range(300):
        pad = Scratchpad.of_temperature(chance.uniform(-55, 125), bits=bits)
        line = pad.slave_text().splitlines()[1]
        if pad.temperature_c == 85.0:
            continue
        theirs = evaluate_temperature(line, 1e-3, Unit.DEGREES_C, Sensor.DS18B20, "x", 0.0, 85.0)
        assert decode([pad.slave_text()], family=0x28) == (theirs, 0)
        assert pad.bits == evaluate_resolution(line) == bits


def test_undefined_bits_of_a_coarse_resolution_are_cleared():
    """Datasheet: at 9 bit the lowest three bits are undefined."""
    body = bytes([0x0F, 0x01, 0x4B, 0x46, 0x1F, 0xFF, 0x01, 0x10])
    assert Scratchpad(body + bytes([crc8(body)])).temperature_c == 16.5


def test_a_real_85_is_told_from_power_on():
    """Same register; byte 6 is 0c only before the first conversion."""
    assert decode(Scratchpad.of_temperature(85.0).slave_text().splitlines(), family=0x28) == (85.0, 0)
    assert decode(POWER_ON.slave_text().splitlines(), family=0x28) == (85.0, int(Flag.POWER_ON))


def test_the_other_value_never_converted():
    """Register 07ff with byte 6 = 0c, as the kernel's own check has it."""
    body = bytes([0xFF, 0x07, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10])
    pad = Scratchpad(body + bytes([crc8(body)]))
    assert decode(pad.slave_text().splitlines(), family=0x28) == (127.9375, int(Flag.POWER_ON))
    body = body[:6] + bytes([0x01, 0x10])
    pad = Scratchpad(body + bytes([crc8(body)]))
    assert decode(pad.slave_text().splitlines(), family=0x28) == (127.9375, 0)


@pytest.mark.parametrize("byte", range(9))
def test_any_flipped_byte_is_a_checksum_fault(byte):
    """One bit of any of the nine bytes, even where the kernel's verdict says YES."""
    data = bytearray(Scratchpad.of_temperature(12.5).data)
    data[byte] ^= 0x10
    line = " ".join(f"{b:02x}" for b in data) + " : crc=00 YES"
    assert decode([line], family=0x28) == (None, int(Flag.CHECKSUM))


@pytest.mark.parametrize(
    ("lines", "flag"),
    [
        ([], Flag.CHECKSUM),
        ([""], Flag.CHECKSUM),
        (["00 00 00 00 00 00 00 00 00 : crc=00 YES"], Flag.CHECKSUM),
        (["50 05 4b 46 7f ff 0c 10 1c : crc=1c NO"], Flag.CHECKSUM),
        (["50 05 4b"], Flag.NOT_A_NUMBER),
        (["\x00\x00"], Flag.NOT_A_NUMBER),
        (["t=20000"], Flag.NOT_A_NUMBER),
    ],
)
def test_what_is_no_measurement_has_no_value(lines, flag):
    """Empty, shorted, refused by the kernel, or rubbish."""
    assert decode(lines, family=0x28) == (None, int(flag))


def test_families_with_another_register_take_the_kernels_figure():
    """A DS18S20 (family 10) counts in halves; the kernel's `t=` has it right."""
    body = bytes([0x32, 0x00, 0x4B, 0x46, 0xFF, 0xFF, 0x0C, 0x10])
    pad = Scratchpad(body + bytes([crc8(body)]))
    first = pad.slave_text().splitlines()[0]
    assert decode([first, f"{pad.data.hex(' ')} t=25000"], family=0x10) == (25.0, 0)
    assert decode([first], family=0x10) == (None, int(Flag.NOT_A_NUMBER))
