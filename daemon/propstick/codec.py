"""Frozen dataclasses to text and back, to the last bit.

For what the store keeps whole: the engine's checkpoint, dated news, forecasts as issued. The text
names the class of every record, so that a reader can tell what a row of the database is. Only
classes reachable from the type asked for are ever made, so a doctored text cannot name others.

A field that a later release added is passed over, so that a release gone back to still reads what the
later one stored; a field that is missing without a default, or a class nobody knows, is refused.
"""

from __future__ import annotations

import base64
import dataclasses
import enum
import json
import sys
import types
import typing
from datetime import date, time
from functools import lru_cache
from typing import Any

import numpy as np

from propstick.errors import StoreError


def to_text(value: Any) -> str:
    """The value as one line of JSON. NaN and infinities are written as Python's json does."""
    return json.dumps(_plain(value), separators=(",", ":"), ensure_ascii=False)


def from_text(text: str, *, of: Any) -> Any:
    """The value again; `of` is its class, or a union of the classes it may be.

    Raises:
        StoreError: the text is not of that type (another version wrote it, or it was damaged).
    """
    try:
        return _value(json.loads(text), _classes(of))
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise StoreError(
            f"stored record: got text that is not a {getattr(of, '__name__', of)} ({error})",
            hint="it was written by another release; the watch relearns from the readings",
        ) from error


def _plain(value: Any) -> Any:
    if value is None or isinstance(value, str) or type(value) in (bool, int, float):
        return value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        body = {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
        return {"": type(value).__name__, **body}
    if isinstance(value, np.ndarray):
        packed = base64.b64encode(np.ascontiguousarray(value).tobytes()).decode()
        return {"": "array", "d": value.dtype.str, "s": list(value.shape), "b": packed}
    if isinstance(value, np.generic):
        return {"": "number", "d": value.dtype.str, "b": base64.b64encode(value.tobytes()).decode()}
    if isinstance(value, tuple):
        return {"": "tuple", "v": [_plain(v) for v in value]}
    if isinstance(value, frozenset):
        return {"": "set", "v": sorted((_plain(v) for v in value), key=repr)}
    if isinstance(value, list):
        return [_plain(v) for v in value]
    if isinstance(value, dict):
        return {"": "dict", "v": [[_plain(k), _plain(v)] for k, v in value.items()]}
    if isinstance(value, date):
        return {"": "date", "v": value.isoformat()}
    if isinstance(value, time):
        return {"": "time", "v": value.isoformat()}
    if isinstance(value, enum.Enum):
        return _plain(value.value)
    raise TypeError(f"no text form for {type(value).__name__}")


def _value(data: Any, classes: dict[str, type]) -> Any:
    if isinstance(data, list):
        return [_value(v, classes) for v in data]
    if not isinstance(data, dict):
        return data
    kind = data[""]
    if kind == "array":
        flat = np.frombuffer(base64.b64decode(data["b"]), dtype=np.dtype(data["d"]))
        return flat.reshape(data["s"]).copy()
    if kind == "number":
        return np.frombuffer(base64.b64decode(data["b"]), dtype=np.dtype(data["d"]))[0]
    if kind == "tuple":
        return tuple(_value(v, classes) for v in data["v"])
    if kind == "set":
        return frozenset(_value(v, classes) for v in data["v"])
    if kind == "dict":
        return {_value(k, classes): _value(v, classes) for k, v in data["v"]}
    if kind == "date":
        return date.fromisoformat(data["v"])
    if kind == "time":
        return time.fromisoformat(data["v"])
    made = classes[kind]
    known = _fields(made)
    return made(**{name: _value(v, classes) for name, v in data.items() if name in known})


@lru_cache(maxsize=128)
def _fields(made: type) -> frozenset[str]:
    return frozenset(field.name for field in dataclasses.fields(made))


@lru_cache(maxsize=32)
def _classes(of: Any) -> dict[str, type]:
    """Every dataclass reachable through the annotations of `of`, by name."""
    found: dict[str, type] = {}
    waiting = [of]
    while waiting:
        item = waiting.pop()
        if isinstance(item, types.UnionType) or typing.get_origin(item) is not None:
            waiting.extend(typing.get_args(item))
        elif dataclasses.is_dataclass(item) and found.get(item.__name__) is not item:
            assert item.__name__ not in found, f"two dataclasses are called {item.__name__}"
            found[item.__name__] = item
            hints = typing.get_type_hints(item, vars(sys.modules[item.__module__]))
            waiting.extend(hints.values())
    return found
