"""The machine's clocks."""

from __future__ import annotations

import os
import select
import time
import weakref

LOOK_EVERY_S = 5.0
"""A wait looks at the clock this often: waking from suspend must not cost a whole period more."""
_BOOT_CLOCK = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)


class SystemClock:
    """Wall time, and seconds since boot that go on through suspend.

    Waits watch a pipe, not a `threading.Event`: a signal handler that sets an event can find the
    event's lock held by the very thread it interrupted, and never return.
    """

    def __init__(self) -> None:
        self._pipe_out, self._pipe_in = os.pipe()
        os.set_blocking(self._pipe_in, False)
        weakref.finalize(self, _close, self._pipe_out, self._pipe_in)

    def wall_s(self) -> float:
        """UTC seconds since 1970 as the machine believes them; may jump."""
        return time.time()

    def monotonic_s(self) -> float:
        """Seconds since boot, suspend included."""
        return time.clock_gettime(_BOOT_CLOCK)

    def wait(self, seconds: float) -> bool:
        """Waits on the monotonic clock. True if woken early because `wake` was called."""
        until_s = self.monotonic_s() + seconds
        while (left_s := until_s - self.monotonic_s()) > 0:
            if self._is_woken(min(left_s, LOOK_EVERY_S)):
                return True
        return self._is_woken(0.0)

    def wake(self) -> None:
        """Ends every wait now and those to come; safe in a signal handler."""
        try:
            os.write(self._pipe_in, b"!")
        except BlockingIOError:  # full of earlier wakes
            return

    def _is_woken(self, within_s: float) -> bool:
        watcher = select.poll()
        watcher.register(self._pipe_out, select.POLLIN)
        return bool(watcher.poll(within_s * 1000))


def _close(*descriptors: int) -> None:
    for descriptor in descriptors:
        os.close(descriptor)
