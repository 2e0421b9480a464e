"""The machine's clocks."""

from __future__ import annotations

import threading
import time

LOOK_EVERY_S = 5.0
"""A wait looks at the clock this often: waking from suspend must not cost a whole period more."""
_BOOT_CLOCK = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)


class SystemClock:
    """Wall time, and seconds since boot that go on through suspend."""

    def __init__(self) -> None:
        self._woken = threading.Event()

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
            if self._woken.wait(min(left_s, LOOK_EVERY_S)):
                return True
        return self._woken.is_set()

    def wake(self) -> None:
        """Ends every wait now and those to come; safe in a signal handler."""
        self._woken.set()
