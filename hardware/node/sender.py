"""A wireless node: reads its probes, sends SenML packs (RFC 8428), keeps what it could not send.

For MicroPython on a board with a radio; the parts that think also run under ordinary Python, where our
tests run them. Copy it to the board as `main.py`, with your own `settings.py` beside it.

Once its clock is set from the network, readings carry UTC times: a pack that is sent twice is then the
same readings twice, which the watch knows, and what could not be sent waits here in a small store.
Until then a pack carries a counter and its times count from the arrival; such a pack is not kept,
for an hour later its times would be wrong.
"""

import json
import time

KEPT = 288
"""Readings kept while the broker cannot be reached: a day at five minutes."""
A_PACK = 60
"""Readings sent at once: the watch takes up to 256 records and 16 KiB."""
SET_FROM_S = 1_700_000_000
"""A clock that shows less was never set."""
UNITS = {"humidity": "%RH", "moisture": "/"}
"""Everything else is Celsius; a lid's contact is true (open) or false (shut)."""


class Node:
    """Readings on their way to the broker.

    Args:
        site, name: As in the garden file and in the broker's access rules.
        connect: Gives a connection with `publish(topic, payload, qos=1)` and `disconnect()`; raises
            OSError where there is none. `publish` returns when the broker has acknowledged.
        now_s: UTC seconds since 1970.
    """

    def __init__(self, site, name, connect, now_s):
        self.name = name
        self.topic = f"propstick/{site}/readings/{name}"
        self._connect = connect
        self._now_s = now_s
        self._counter = 0
        self._kept = []

    def take(self, values):
        """Sends what was read just now, `{"air": 7.25, "lid": False}`, after what waits; True if all went.

        A value of None, from a probe that did not answer, is left out.
        """
        now_s = self._now_s()
        values = {name: value for name, value in values.items() if value is not None}
        if now_s < SET_FROM_S:
            self._counter += 1
            return self._send([counted_pack(self.name, values, self._counter)]) if values else True
        self._kept += [(now_s, name, values[name]) for name in sorted(values)]
        del self._kept[:-KEPT]
        return self._send_kept()

    def waiting(self):
        """How many readings wait."""
        return len(self._kept)

    def _send_kept(self):
        """Oldest first; a reading is dropped when the broker has acknowledged its pack, not before."""
        while self._kept:
            readings = self._kept[:A_PACK]
            if not self._send([timed_pack(self.name, readings)]):
                return False
            del self._kept[: len(readings)]
        return True

    def _send(self, packs):
        try:
            link = self._connect()
            for pack in packs:
                link.publish(self.topic, pack, qos=1)
            link.disconnect()
        except OSError:
            return False
        return True


def timed_pack(node, readings):
    """(UTC seconds, name, value) readings as a pack with absolute times."""
    base_s = readings[0][0]
    records = [record(name, value, time_s - base_s) for time_s, name, value in readings]
    records[0] = dict(records[0], bn=node + "/", bt=base_s)
    return json.dumps(records)


def counted_pack(node, values, counter):
    """Values without a clock: the counter lets the watch know a pack that comes twice."""
    records = [{"bn": node + "/", "n": "counter", "v": counter}]
    records += [record(name, values[name], 0) for name in sorted(values)]
    return json.dumps(records)


def record(name, value, after_s):
    """One value, so many seconds after the pack's base time."""
    found = {"n": name, "t": after_s}
    if isinstance(value, bool):
        found["vb"] = value
    else:
        found["u"] = UNITS.get(name, "Cel")
        found["v"] = value
    return found


def ds18b20_c(raw):
    """The value of a DS18B20's nine scratchpad bytes, or None: bad checksum, or never converted.

    85 °C with byte 6 at 0x0C is what the chip shows before its first conversion.
    """
    if len(raw) != 9 or crc8(raw) != 0 or not any(raw):
        return None
    value = raw[0] | raw[1] << 8
    if value > 0x7FFF:
        value -= 0x10000
    if value == 0x0550 and raw[6] == 0x0C:
        return None
    return value / 16


def crc8(raw):
    """The bus's checksum, x^8 + x^5 + x^4 + 1, bits reflected; over all nine bytes it is 0."""
    crc = 0
    for byte in raw:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ 0x8C if crc & 1 else crc >> 1
    return crc


# From here on only on a board


def run():  # pragma: no cover - needs a board
    """Reads and sends for ever."""
    import settings

    probes = _probes(settings)
    node = Node(settings.SITE, settings.NODE, lambda: _connect(settings), _utc_s)
    while True:
        if _utc_s() < SET_FROM_S:
            _set_clock(settings)
        node.take(probes())
        time.sleep(settings.EVERY_S)


def _probes(settings):  # pragma: no cover - needs a board
    """A function that reads every probe of `settings.PROBES`, and the lid's contact if there is one."""
    import machine
    import onewire

    bus = onewire.OneWire(machine.Pin(settings.DATA_PIN))
    lid = (
        None
        if settings.LID_PIN is None
        else machine.Pin(settings.LID_PIN, machine.Pin.IN, machine.Pin.PULL_UP)
    )

    def read():
        bus.reset()
        bus.writebyte(0xCC)  # all probes
        bus.writebyte(0x44)  # convert
        time.sleep(0.75)  # 12 bit, as the datasheet has it
        values = {}
        for name, rom in settings.PROBES.items():
            values[name] = _read_probe(bus, rom)
        if lid is not None:
            values["lid"] = bool(
                lid.value()
            )  # the contact is to ground when shut: a broken wire is an open lid
        return values

    return read


def _read_probe(bus, rom):  # pragma: no cover - needs a board
    import onewire

    try:
        bus.reset(True)  # raises where nobody answers
        bus.select_rom(rom)
        bus.writebyte(0xBE)  # read the scratchpad
        return ds18b20_c(bytes(bus.readbyte() for _ in range(9)))
    except onewire.OneWireError:
        return None


def _connect(settings):  # pragma: no cover - needs a board
    """Joins the network and the broker, with TLS and our own authority."""
    import ssl

    from umqtt.simple import MQTTClient

    _join(settings)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.verify_mode = ssl.CERT_REQUIRED
    context.load_verify_locations(cafile=settings.CA_FILE)
    link = MQTTClient(
        "node-" + settings.NODE,
        settings.BROKER,
        port=8883,
        user=settings.NODE,
        password=settings.PASSWORD,
        keepalive=60,
        ssl=context,
    )
    link.connect()
    return link


def _join(settings):  # pragma: no cover - needs a board
    import network

    radio = network.WLAN(network.STA_IF)
    radio.active(True)
    if not radio.isconnected():
        radio.connect(settings.NETWORK, settings.NETWORK_PASSWORD)
        for _ in range(30):
            if radio.isconnected():
                return
            time.sleep(1)
        raise OSError("no network")


def _set_clock(settings):  # pragma: no cover - needs a board
    import ntptime

    try:
        _join(settings)
        ntptime.settime()
    except OSError:
        pass  # later


def _utc_s():  # pragma: no cover - needs a board
    """UTC seconds since 1970; boards count from 1970 or from 2000."""
    return int(time.time()) + (946_684_800 if time.gmtime(0)[0] == 2000 else 0)


if __name__ == "__main__":  # pragma: no cover - needs a board
    run()
