"""What nodes and people send over the broker, as readings and requests. Knows no connection."""

from __future__ import annotations

import json
import re
import zlib
from collections import OrderedDict, deque
from collections.abc import Mapping, Sequence
from typing import Any

from propstick.blocks import Flag
from propstick.errors import InputError
from propstick.records import Reading
from propstick.senml import SenmlRecord, parse_pack
from propstick.units import KELVIN_AT_0_C

LARGEST_PACK_BYTES = 16 * 1024
LARGEST_REQUEST_BYTES = 4 * 1024
MOST_RECORDS = 256
COUNTER = "counter"
"""Name of the record by which a node without a clock numbers its packs."""
REMEMBERED_PACKS = 64
MOST_NODES = 256
MOST_PROBES = 64
"""Names a node may use; each becomes a probe that is kept for ever."""
REQUEST_KINDS = ("acknowledge", "shelve", "unshelve", "lid", "cover", "watered", "hardening")
"""What may be asked for from afar. Taking a box out of service needs the page or the command line."""
_LARGEST_VALUE = 10_000.0
_NODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")
_UNITS = frozenset({None, "Cel", "%RH", "%", "/"})


def node_name(text: str) -> str:
    """A node's name, as in its topic.

    Raises:
        InputError: not letters, digits, `-` and `_`, at most 40.
    """
    if not _NODE.fullmatch(text):
        raise InputError(f"node: got {text[:60]!r}, expected at most 40 letters, digits, '-' and '_'")
    return text


class PackDesk:
    """Turns packs into readings; knows again a pack that came before.

    A pack whose times count from its arrival would give new readings each time the broker delivers it.
    Such a pack carries a record `counter`; a double is one with the same node, counter and content.
    (The content counts too because a node that restarts may count from 0 again.) Packs with
    absolute times need none of this: the store knows a reading by probe and time.

    Args:
        seen: What `seen()` gave at the end of an earlier life.
    """

    def __init__(self, seen: Mapping[str, Sequence[str]] | None = None) -> None:
        self._seen: OrderedDict[str, deque[str]] = OrderedDict()
        self._names: OrderedDict[str, set[str]] = OrderedDict()
        for node, marks in (seen or {}).items():
            self._seen[node] = deque(marks, maxlen=REMEMBERED_PACKS)

    def seen(self) -> dict[str, list[str]]:
        """The packs known again, to be kept with the store."""
        return {node: list(marks) for node, marks in self._seen.items()}

    def readings(self, node: str, payload: bytes, *, arrival_ms: int) -> tuple[Reading, ...] | None:
        """The readings of a pack; None if it is a double.

        A record with a unit we do not read, or a value beyond any probe, becomes a flagged reading.

        Raises:
            InputError: the pack is not SenML, too big, its counter not a number, or the node uses
                ever new names.
        """
        records = parse_pack(
            payload, arrival_ms=arrival_ms, largest_bytes=LARGEST_PACK_BYTES, most_records=MOST_RECORDS
        )
        counters = [r for r in records if _own_name(node, r) == COUNTER]
        measured = [r for r in records if _own_name(node, r) != COUNTER]
        self._check_names(node, {_own_name(node, record) for record in measured})
        if counters and any(r.is_relative for r in measured):
            count = counters[0].value
            if count is None or not count.is_integer():
                raise InputError(f"SenML pack of {node}: counter was {count!r}, expected a whole number")
            if not self._note(node, f"{count:.0f}.{zlib.crc32(payload):08x}"):
                return None
        return tuple(_reading(node, record) for record in measured)

    def _check_names(self, node: str, names: set[str]) -> None:
        known = self._names.setdefault(node, set())
        self._names.move_to_end(node)
        if len(self._names) > MOST_NODES:
            self._names.popitem(last=False)
        if len(known | names) > MOST_PROBES:
            raise InputError(f"SenML pack of {node}: over {MOST_PROBES} names, expected a few probes")
        known |= names

    def _note(self, node: str, mark: str) -> bool:
        """Remembers a pack; False if it was known."""
        marks = self._seen.setdefault(node, deque(maxlen=REMEMBERED_PACKS))
        self._seen.move_to_end(node)
        if mark in marks:
            return False
        marks.append(mark)
        if len(self._seen) > MOST_NODES:
            self._seen.popitem(last=False)
        return True


def _own_name(node: str, record: SenmlRecord) -> str:
    return record.name.removeprefix(f"{node}/")


def _reading(node: str, record: SenmlRecord) -> Reading:
    probe = f"{node}/{_own_name(node, record)}"
    value = float(record.content) if isinstance(record.content, bool) else record.value
    if record.unit == "K" and value is not None:
        value = round(value - KELVIN_AT_0_C, 4)
    elif record.unit not in _UNITS:
        value = None
    if value is None or abs(value) > _LARGEST_VALUE:
        return Reading(probe, record.time_ms, None, int(Flag.NOT_A_NUMBER))
    return Reading(probe, record.time_ms, value)


def request_of(payload: bytes) -> tuple[str, dict[str, Any]]:
    """A remote request as (kind, body): `{"kind": "lid", "box": "north", "opening": 0.1}`.

    Whether box and alarm exist is for the watch to say.

    Raises:
        InputError: not a JSON object with a kind that may be asked for from afar.
    """
    if len(payload) > LARGEST_REQUEST_BYTES:
        raise InputError(f"request: got {len(payload)} bytes, expected at most {LARGEST_REQUEST_BYTES}")
    try:
        body = json.loads(payload.decode("utf-8"))
    except (ValueError, RecursionError):
        raise InputError("request: not JSON in UTF-8") from None
    if not isinstance(body, dict):
        raise InputError('request: expected an object such as {"kind": "lid", …}')
    kind = body.pop("kind", None)
    if kind not in REQUEST_KINDS:
        raise InputError(f"request: kind was {str(kind)[:40]!r}, expected one of {', '.join(REQUEST_KINDS)}")
    return kind, body
