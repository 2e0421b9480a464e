"""Room kept back beside the store: a file without content that is given up when the disk is full.

Whatever else fills a card, the watch then still has somewhere to write. While a program without end
eats what is freed, this helps no longer than the program takes; rows then wait in memory.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

RESERVE_BYTES = 16 * 2**20
"""Sixteen probes grow the store by half a MiB a day: this is some weeks of rows. Our choice."""


class Reserve:
    """The room kept back beside one store's file."""

    def __init__(self, store: Path, *, size: int = RESERVE_BYTES) -> None:
        self._file = store.with_name(store.name + ".reserve")
        self._size = size

    def hold(self, *, spare: int) -> bool:
        """Keeps the room back unless the disk would then have less than `spare` bytes free.

        Returns whether it is kept back now.
        """
        if self._file.exists():
            return True
        try:
            if shutil.disk_usage(self._file.parent).free < self._size + spare:
                return False
            number = os.open(self._file, os.O_CREAT | os.O_RDWR, 0o600)
            try:
                os.posix_fallocate(number, 0, self._size)
            finally:
                os.close(number)
        except OSError:
            self.give_up()
            return False
        return True

    def held(self) -> int:
        """Bytes kept back now."""
        try:
            return self._file.stat().st_blocks * 512
        except OSError:
            return 0

    def give_up(self) -> bool:
        """Frees the room; False if there was none."""
        try:
            self._file.unlink()
        except OSError:
            return False
        return True
