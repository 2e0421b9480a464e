"""What must be on the disk when we say so: flushed, and a file replaced whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path


def flush(path: Path) -> None:
    """A file's content, or the names in a folder, survive a power cut from here on."""
    number = os.open(path, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


def replace_whole(file: Path, content: bytes, *, prepare: Callable[[Path], object]) -> None:
    """Writes a file beside the old one and renames it over that; nobody else can read it meanwhile.

    Args:
        prepare: Given the new file before it takes the old one's place: for its mode and owner. Whatever
            this raises, the old file stays.

    Raises:
        OSError: it cannot be written.
    """
    handle, name = tempfile.mkstemp(prefix=f".{file.name}.", dir=file.parent)
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        prepare(part)
        os.replace(part, file)
    finally:
        part.unlink(missing_ok=True)
    flush(file.parent)
