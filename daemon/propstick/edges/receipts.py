"""Receipts for notices: that a channel took one is known though the watch that asked was killed meanwhile.

The outbox in the store is the memory of what was delivered, but only a living watch can write there. The
process that hands over (`push_apart.py`) often outlives a killed one. It holds a file of the notice's while
it works and signs it when the channel has taken the notice; whoever comes later for the same notice waits
until the file is let go, and finds it signed. What remains is a power cut between the channel's answer and
the signature.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import os
import time
from collections.abc import Iterator
from pathlib import Path

from propstick.times import DAY_S

_SIGNED = b"taken\n"


class Receipt:
    """One notice for one channel, held by this process alone; without an open file nothing is kept."""

    def __init__(self, number: int | None) -> None:
        self._number = number

    def is_signed(self) -> bool:
        """Whether the channel has taken it."""
        return self._number is not None and os.pread(self._number, len(_SIGNED), 0) == _SIGNED

    def sign(self) -> None:
        """Notes that the channel has taken it. A disk that refuses costs the receipt, not the notice."""
        if self._number is None:
            return
        with contextlib.suppress(OSError):
            os.pwrite(self._number, _SIGNED, 0)
            os.fsync(self._number)


class Receipts:
    """The receipts of one store's notices.

    Args:
        folder: Made when it is first needed.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    @contextlib.contextmanager
    def of(self, channel: str, notice_id: str) -> Iterator[Receipt]:
        """The receipt for this notice; waits while another process has it.

        Where no file can be made there is nothing to wait for and nothing is kept: being warned twice is
        better than not at all.
        """
        number = self._taken(hashlib.sha256(f"{channel}\n{notice_id}".encode()).hexdigest())
        try:
            yield Receipt(number)
        finally:
            if number is not None:
                os.close(number)

    def _taken(self, name: str) -> int | None:
        """The open file, this process's alone; None where the disk or its file system will not."""
        try:
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._throw_away_old()
            number = os.open(self._folder / name, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError:
            return None
        try:
            fcntl.flock(number, fcntl.LOCK_EX)
        except OSError:  # a file system without locks
            os.close(number)
            return None
        return number

    def _throw_away_old(self) -> None:
        """No notice is tried for a day (`delivery.WORTHLESS_AFTER_S`), and so no receipt asked for."""
        before_s = time.time() - DAY_S
        for path in self._folder.iterdir():
            with contextlib.suppress(OSError):
                if path.stat().st_mtime < before_s:
                    path.unlink()
