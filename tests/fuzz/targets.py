"""The parsers of what comes from outside, each as a function of bytes that may only end in our own error.

What a target asserts beyond "no traceback" is what the rest of the program relies on.
"""

from __future__ import annotations

import gzip
import math
import os
import tempfile
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from propstick.app import recording
from propstick.app.garden_file.load import _data_of, parse
from propstick.app.garden_file.toml_lines import Lines
from propstick.app.live.newsdesk import news_of
from propstick.edges.mqtt_payloads import PackDesk, node_name, request_of
from propstick.edges.onewire import WiredBus
from propstick.edges.onewire_tree import Tree
from propstick.edges.scratchpad import POWER_ON, Scratchpad
from propstick.errors import ConfigError, InputError
from propstick.garden import Box, Garden, Site
from propstick.growing.crops import crop_table
from propstick.senml import SenmlRecord, parse_pack, write_pack

ROOT = Path(__file__).resolve().parents[2]
NOON_S = 1_790_251_200  # 2026-09-24T12:00:00Z
GARDEN = Garden(site=Site(name="plot", zone="Europe/Dublin"), boxes=(Box(name="north"),))
PROBES = ("28-00000000000a", "10-00000000000b", "3b-00000000000c")
CUT = b"\n---\n"
"""Parts one input into the several files of a bus."""


@dataclass(frozen=True)
class Target:
    """A parser under test.

    Attributes:
        run: Takes any bytes; whatever it raises is a finding.
        seeds: Good inputs and known bad ones, to begin with; tests run them too.
        words: What the format is made of, for the fuzzer to put in.
        longest: Bytes of the longest input tried.
    """

    run: Callable[[bytes], None]
    seeds: tuple[bytes, ...]
    words: tuple[str, ...] = ()
    longest: int = 2048


def onewire(data: bytes) -> None:
    """The kernel's files of a bus: what a probe says, which probes there are, how long they convert."""
    said, listed, conversion, *_ = [*data.split(CUT), b"", b"", b""]
    _TREE.master(1).joinpath("w1_master_slaves").write_bytes(listed + "\n".join(("", *PROBES)).encode())
    for probe in PROBES:
        _TREE.master(1).joinpath(probe, "w1_slave").write_bytes(said)
        _TREE.master(1).joinpath(probe, "conv_time").write_bytes(conversion)
    bus = WiredBus(_TREE.master(1), tree=_TREE.path, trigger=lambda _file: None)
    bus._sensor_class.RETRY_ATTEMPTS = 1  # the library asks ten times, a tenth of a second apart
    bus._sensor_class.RETRY_DELAY_SECONDS = 0.0
    for reading in bus.read(NOON_S):
        assert reading.value is not None or reading.flags
        assert reading.value is None or math.isfinite(reading.value)
    assert set(PROBES) <= set(bus.probes())


def senml(data: bytes) -> None:
    """A pack from a node, as records and as readings; what was read is written and read again."""
    try:
        records = parse_pack(data, arrival_ms=NOON_S * 1000)
    except InputError as error:
        _one_line(error)
        records = ()
    if records:
        again = parse_pack(write_pack(records), arrival_ms=None if _absolute(records) else NOON_S * 1000)
        assert [r.name for r in again] == [r.name for r in records]
        assert [r.value for r in again] == [r.value for r in records]
        assert [r.content for r in again] == [r.content for r in records]
    try:
        readings = PackDesk().readings(node_name("shed"), data, arrival_ms=NOON_S * 1000)
    except InputError as error:
        _one_line(error)
        return
    for reading in readings or ():
        assert reading.value is not None or reading.flags
        assert reading.value is None or math.isfinite(reading.value)
        assert abs(reading.time_ms) < 2**53


def request(data: bytes) -> None:
    """What somebody asks for through the broker, up to the news the engine is given."""
    with suppress(InputError):
        kind, body = request_of(data)
        news_of(kind, body, row_s=NOON_S, garden=GARDEN, known_alarms=frozenset({"a"}))


def table(data: bytes) -> None:
    """A recording, CSV or SenML, in any encoding; with a zone and without."""
    for zone in (None, "Europe/Berlin"):
        try:
            found = recording.read(data, zone=zone)
        except InputError as error:
            _one_line(error)
            continue
        found.span_ms()
        assert found.cells >= len(found.columns)
        assert np.all(np.isfinite(found.columns.raw) | (found.columns.flags > 0))
        assert not np.any((found.columns.flags == 0) & (np.abs(found.columns.raw) > 1e6))


def garden(data: bytes) -> None:
    """What a garden file says: its tables, each against the others."""
    if (text := _text(data)) is not None:
        with suppress(ConfigError):
            parse(text, Path("garden.toml"), probes_required=False)


def garden_text(data: bytes) -> None:
    """The text of a garden file alone: is it TOML, how deep does it go, on which lines do its keys stand."""
    if (text := _text(data)) is None:
        return
    try:
        found = _data_of(text, Path("garden.toml"))
    except ConfigError:
        return
    lines = Lines(text)
    for key in found:
        number = lines.of((key,))
        assert number is None or 1 <= number <= len(text.splitlines())


def _text(data: bytes) -> str | None:
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        return None


def crops(data: bytes) -> None:
    """The person's own table of crops, beside the one that ships."""
    try:
        found = crop_table(_CROPS, own=data.decode())
    except (UnicodeDecodeError, InputError):
        return
    for crop in found.values():
        assert crop.emergence is None or len(crop.emergence.soil_c) == len(crop.emergence.days)
        hash(crop.limits)


def _one_line(error: InputError) -> None:
    assert "\n" not in error.message


def _absolute(records: tuple[SenmlRecord, ...]) -> bool:
    return not any(record.time_ms < 2**28 * 1000 for record in records)


def _tree() -> Tree:
    tree = Tree(Path(_FOLDER.name))
    for probe in PROBES:
        tree.add(probe)
    return tree


MEMORY = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
"""Where files lie: emptying one on a disk takes a millisecond, in memory none."""
_FOLDER = tempfile.TemporaryDirectory(prefix="propstick-fuzz-", dir=os.environ.get("TMPDIR", MEMORY))
_TREE = _tree()

_CSV = b"time,north.air,north.lid,outside.air\n2026-04-12T18:00:00Z,9.5,0,4.1\n2026-04-12T18:01:00Z,,1,85\n"
_GERMAN = "Zeit;north.air;north.soil\n12.04.2026 18:00;9,5;8,25\n12.04.2026 18:01;-0,5;\n".encode("utf-16")
_PACK = b'[{"bn":"shed/","bt":1790251200,"bu":"Cel","n":"air","v":21.5},{"n":"rh","u":"%RH","v":60,"t":-5}]'
_COUNTED = b'[{"n":"counter","v":7},{"n":"air","u":"K","v":294.65,"t":-30},{"n":"lid","vb":true,"s":1}]'
_BASED = b'[{"bn":"a.air","bver":10,"bv":1.5,"bs":2},{"vs":"x","ut":5},{"n":"1","vd":"Zm9v"}]'
_FILES = (
    Scratchpad.of_temperature(21.5).slave_text().encode(), POWER_ON.slave_text().encode(),
    Scratchpad(bytes(9)).slave_text().encode(), b"",
)  # fmt: skip
_SHORT = (
    b'[site]\nname = "plot"\nlatitude = 52.35\nlongitude = -6.46\nzone = "Europe/Dublin"\nunit = "F"\n'
    b'[[box]]\nname = "north"\nalarms = { heat_f = 80, frost_c = 1.5 }\n[[probe]]\nid = "28-3c01b556e1a2"\n'
    b'box = "north"\nplace = "air"\n[person]\nleaves = "08:00"\n'
)
_REQUESTS = (
    b'{"kind":"lid","box":"north","opening":0.3}', b'{"kind":"cover","box":"north","on":true}',
    b'{"kind":"shelve","id":"a","until":"2026-09-25T12:00:00+00:00"}',
    b'{"kind":"watered","box":"north","at":"2026-09-24T11:00:00Z"}',
)  # fmt: skip
_CROPS = (
    "[pea]\nfrost_c = -2\nsources = { a = 'b' }\n[pea.emergence]\ndays = { '10' = 14, '20' = 8 }\n"
    "none_at_c = [0]\nnormal_percent = { '10' = 90 }\n"
)
_OWN_CROPS = (
    b"[vetch]\nby_kinship = 'pea'\nalso = ['tare']\nheat_c = 30\nnote = 'x'\n[vetch.harvest]\n"
    b"days = [60, 80]\nat_c = 14\nwhat = 'pods'\n[vetch.bolting]\nday_h = 14\nwords = 'long days'\n",
    b"[bean]\nsoil_cold_c = 8\n[bean.emergence]\nbase_c = 5.0\ntheta_c_d = 130\n",
    _CROPS.encode(),
)
_SAMPLE = (ROOT / "deploy" / "garden.toml").read_bytes()


def _keys(text: bytes) -> tuple[str, ...]:
    """The keys of a garden file, those behind a `#` too."""
    lines = [line.strip("# ") for line in text.decode().splitlines()]
    words = {line.partition("=")[0].strip() for line in lines if "=" in line}
    tables = {line for line in lines if line.startswith("[") and line.endswith("]")}
    return tuple(sorted(word for word in words | tables if word.isascii() and len(word) < 30))


def _tables(text: bytes) -> tuple[bytes, ...]:
    """Each table of the sample as a file of its own, with the keys that are only shown: quickly read."""
    pieces: list[list[str]] = []
    for line in text.decode().splitlines():
        bare = line.removeprefix("#").strip()
        if bare.startswith("["):
            pieces.append([bare])
        elif pieces and "=" in bare and not line.startswith("# "):
            pieces[-1].append(bare)
    return tuple("\n".join(piece).encode() + b"\n" for piece in pieces)


_FIELDS = ("bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut")
_ASKED = ("kind", "lid", "until", "at", "on", "opening", "id")

TARGETS: Mapping[str, Target] = {
    "1-wire": Target(
        onewire,
        tuple(said + CUT + listed + CUT + b"750\n" for said in _FILES for listed in (b"", b"not found.\n")),
        ("YES", "NO", "crc=", "t=", CUT.decode(), "not found."),
        longest=512,
    ),
    "senml": Target(
        senml,
        (_PACK, _COUNTED, _BASED),
        (*(f'"{key}":' for key in _FIELDS), "1e308", "-0", "true", "null", "counter", "Cel"),
    ),
    "request": Target(request, _REQUESTS, (*(f'"{key}":' for key in _ASKED), "1e999"), longest=512),
    "recording": Target(
        table,
        (_CSV, _GERMAN, gzip.compress(_CSV, mtime=0), _PACK.replace(b"shed/", b"north."), _BASED),
        ("time,", "north.air", ".soil", ".lid", ";", "\t", "2026-04-12T18:00:00Z", "+23:59", "nan", "1e999"),
    ),
    "crops": Target(
        crops,
        _OWN_CROPS,
        (
            "days = ",
            "none_at_c = ",
            "also = ",
            "by_kinship = ",
            "sources = ",
            "[pea.",
            "nan",
            "'10'",
            "[",
            "{",
        ),
    ),
    # In two: the whole sample takes milliseconds, and what is slow is hardly searched.
    "garden": Target(
        garden, (_SHORT, *_tables(_SAMPLE)), (*_keys(_SAMPLE), "inf", "_f", "= [", "{a="), longest=1024
    ),
    "garden-text": Target(
        garden_text,
        (_SHORT, _SAMPLE, *_tables(_SAMPLE)),
        ('"""', "1979-05-27", "inf", "= [", "{a=", "[[", "]]", "[" * 400, "9" * 1000, ".a" * 300),
        longest=8192,
    ),
}
