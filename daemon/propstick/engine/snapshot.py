"""The engine's state as bytes and back, to the last bit: what the store keeps as a checkpoint."""

from __future__ import annotations

import zlib

from propstick.codec import from_text, to_text
from propstick.engine.state import EngineState
from propstick.errors import StoreError

VERSION = b"propstick-engine-14\n"
"""Raise the number whenever a field of the state changes its meaning."""


def dump(state: EngineState) -> bytes:
    """The state, compressed."""
    return VERSION + zlib.compress(to_text(state).encode(), 6)


def load(data: bytes) -> EngineState:
    """The state again.

    Raises:
        StoreError: another release wrote it, or it was damaged.
    """
    if not data.startswith(VERSION):
        raise StoreError(
            f"engine checkpoint: got one that begins {data[:24]!r}, expected {VERSION.decode().strip()!r}",
            hint="another release wrote it; the watch relearns from the stored readings",
        )
    try:
        text = zlib.decompress(data[len(VERSION) :]).decode()
    except (zlib.error, UnicodeDecodeError) as error:
        raise StoreError(
            f"engine checkpoint: damaged ({error})", hint="the watch relearns from the readings"
        ) from error
    return from_text(text, of=EngineState)
