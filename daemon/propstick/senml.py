"""Sensor Measurement Lists in JSON: RFC 8428, read strictly and written plainly.

Base fields are resolved, relative times turned into UTC. Anything not as the standard has it is
refused with the record's number and the field's name; nothing is guessed.
"""

from __future__ import annotations

import base64
import json
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from propstick.errors import InputError

ABSOLUTE_FROM_S = 2**28
"""A resolved time at or above this is UTC, below it counts from now (RFC 8428 §4.5.3)."""
LATEST_S = 2**33
"""Year 2242. Later is an error in the sender, and would not fit the store."""
NEWEST_VERSION = 10
"""RFC 8428 §4.4: packs of a higher version may mean something else."""
LARGEST_PACK_BYTES = 64 * 1024
MOST_RECORDS = 1_000
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]{0,199}")
_NUMBERS = ("bt", "bv", "bs", "bver", "t", "ut", "v", "s")
_TEXTS = ("bn", "bu", "n", "u", "vs", "vd")
_BASE = frozenset({"bn", "bt", "bu", "bv", "bs", "bver"})
_VALUES = ("v", "vs", "vb", "vd")


@dataclass(frozen=True, kw_only=True)
class SenmlRecord:
    """One resolved record.

    Attributes:
        name: Base name and name, joined.
        time_ms: UTC milliseconds.
        value: The number; None where the record carries text, a truth value, data or only a sum.
        unit: As registered: `Cel`, `%RH`, `/`, …; None if the pack does not say.
        is_relative: Whether the time was counted from the arrival.
        content: The other kind of value (`vs`, `vb`, `vd`), if it was one.
        sum: Integral of the value over time, if given.
    """

    name: str
    time_ms: int
    value: float | None = None
    unit: str | None = None
    is_relative: bool = False
    content: str | bool | bytes | None = None
    sum: float | None = None


def parse_pack(
    text: str | bytes,
    *,
    arrival_ms: int | None,
    largest_bytes: int | None = LARGEST_PACK_BYTES,
    most_records: int | None = MOST_RECORDS,
) -> tuple[SenmlRecord, ...]:
    """The records of a pack, resolved, in its order.

    Args:
        text: JSON, in UTF-8 if bytes.
        arrival_ms: UTC milliseconds that relative times count from; None refuses relative times.
        largest_bytes, most_records: Bounds; None for a file the person chose.

    Raises:
        InputError: not JSON, not a pack, too big, or a field that is not as RFC 8428 has it.

    Source:
        Jennings, Shelby, Arkko, Keranen, Bormann (2018), RFC 8428, sections 4 and 5.
    """
    records = _records(text, largest_bytes)
    if most_records is not None and len(records) > most_records:
        raise InputError(f"SenML pack: got {len(records)} records, expected at most {most_records}")
    base: dict[str, Any] = {}
    found = []
    for number, record in enumerate(records, 1):
        if not isinstance(record, dict):
            raise InputError(f"SenML record {number}: got {_brief(record)}, expected an object")
        _check(record, number)
        base |= {key: record[key] for key in _BASE & record.keys()}
        if record.keys() & {"n", "u", "t", "ut", "s", *_VALUES}:
            found.append(_resolved(record, base, number=number, arrival_ms=arrival_ms))
    return tuple(found)


def write_pack(records: Iterable[SenmlRecord]) -> str:
    """The records as a pack with absolute times; `parse_pack` gives the same records again."""
    return json.dumps([_written(record) for record in records], separators=(",", ":"), ensure_ascii=False)


def _written(record: SenmlRecord) -> dict[str, Any]:
    body: dict[str, Any] = {"n": record.name, "t": record.time_ms / 1000}
    if record.unit is not None:
        body["u"] = record.unit
    if record.value is not None:
        body["v"] = record.value
    elif isinstance(record.content, bool):
        body["vb"] = record.content
    elif isinstance(record.content, bytes):
        body["vd"] = base64.urlsafe_b64encode(record.content).decode().rstrip("=")
    elif record.content is not None:
        body["vs"] = record.content
    if record.sum is not None:
        body["s"] = record.sum
    return body


def _records(text: str | bytes, largest_bytes: int | None) -> list[Any]:
    if largest_bytes is not None and len(text) > largest_bytes:
        raise InputError(f"SenML pack: got {len(text)} bytes, expected at most {largest_bytes}")
    try:
        plain = text if isinstance(text, str) else text.decode("utf-8-sig")
        pack = json.loads(plain, parse_constant=_no_constant, object_pairs_hook=_no_doubles)
    except InputError:
        raise
    except (ValueError, RecursionError) as error:
        reason = str(error).split(", input")[0][:120]
        raise InputError(f"SenML pack: not JSON in UTF-8 ({reason})") from None
    if not isinstance(pack, list):
        raise InputError(f"SenML pack: got {_brief(pack)}, expected an array of records")
    if not pack:
        raise InputError("SenML pack: got an empty array, expected at least one record")
    return pack


def _no_constant(word: str) -> float:
    raise InputError(f"SenML pack: got {word}, expected numbers that JSON knows")


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    body = dict(pairs)
    if len(body) != len(pairs):
        keys = [key for key, _ in pairs]
        doubled = next(key for key in keys if keys.count(key) > 1)
        raise InputError(f"SenML pack: field {_brief(doubled)} stands twice in one record")
    return body


def _check(record: dict[str, Any], number: int) -> None:
    """Types of the known fields; other fields are the sender's own affair unless they end in `_`."""
    for key, value in record.items():
        if key in _NUMBERS:
            if isinstance(value, bool) or not isinstance(value, int | float) or not _is_finite(value):
                raise _wrong(number, key, value, "a number")
        elif key in _TEXTS:
            if not isinstance(value, str):
                raise _wrong(number, key, value, "a text")
        elif key == "vb":
            if not isinstance(value, bool):
                raise _wrong(number, key, value, "true or false")
        elif key.endswith("_"):
            raise _wrong(number, key, value, "no field that must be understood beyond RFC 8428")
    if "bver" in record and record["bver"] not in range(1, NEWEST_VERSION + 1):
        raise _wrong(number, "bver", record["bver"], f"a version up to {NEWEST_VERSION}")
    values = [key for key in _VALUES if key in record]
    if len(values) > 1:
        raise _wrong(number, values[1], record[values[1]], f"one value, and {values[0]} is there already")


def _resolved(
    record: dict[str, Any], base: dict[str, Any], *, number: int, arrival_ms: int | None
) -> SenmlRecord:
    name = base.get("bn", "") + record.get("n", "")
    if not _NAME.fullmatch(name):
        raise _wrong(number, "n", name, "letters, digits and -:./_ beginning with a letter or digit")
    values = [key for key in _VALUES if key in record]
    if not values and not ({"s"} & record.keys() or "bv" in base or "bs" in base):
        raise InputError(f"SenML record {number}: got no value, expected one of v, vs, vb, vd, s")
    time_ms, is_relative = _time(record, base, number=number, arrival_ms=arrival_ms)
    value: float | None = None
    if "v" in record or (not values and "bv" in base):
        value = _sum_of(record, base, number=number, key="v")
    total = _sum_of(record, base, number=number, key="s") if "s" in record or "bs" in base else None
    return SenmlRecord(
        name=name,
        time_ms=time_ms,
        value=value,
        unit=record.get("u", base.get("bu")),
        is_relative=is_relative,
        content=_content(record, number),
        sum=total,
    )


def _content(record: dict[str, Any], number: int) -> str | bool | bytes | None:
    if "vd" not in record:
        return record.get("vs", record.get("vb"))
    data = record["vd"]
    try:
        return base64.b64decode(data + "=" * (-len(data) % 4), altchars=b"-_", validate=True)
    except ValueError:
        raise _wrong(number, "vd", data, "data in base64url") from None


def _sum_of(record: dict[str, Any], base: dict[str, Any], *, number: int, key: str) -> float:
    total = float(base.get("b" + key, 0.0)) + float(record.get(key, 0.0))
    if not math.isfinite(total):
        raise _wrong(number, key, record.get(key), "a number that can be held")
    return total


def _time(
    record: dict[str, Any], base: dict[str, Any], *, number: int, arrival_ms: int | None
) -> tuple[int, bool]:
    time_s = base.get("bt", 0) + record.get("t", 0)
    if time_s >= LATEST_S or time_s <= -LATEST_S:
        raise _wrong(number, "t", time_s, "seconds of UTC before the year 2242")
    if time_s >= ABSOLUTE_FROM_S:
        return round(time_s * 1000), False
    if arrival_ms is None:
        raise _wrong(number, "t", time_s, "UTC seconds: nothing tells from when a relative time counts")
    return arrival_ms + round(time_s * 1000), True


def _is_finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:
        return False


def _wrong(number: int, key: str, value: Any, expected: str) -> InputError:
    return InputError(f"SenML record {number}, field {key[:40]}: got {_brief(value)}, expected {expected}")


def _brief(value: Any) -> str:
    """A value as an error shows it: never long, whatever was sent."""
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) >= 10**15:
        return "an integer of more than 15 digits"
    if isinstance(value, dict | list):
        return "an object" if isinstance(value, dict) else "an array"
    return repr(value)[:60]
