"""The outside world as the program needs it: small interfaces, each with a real part and a fake.

Real parts live in `edges/`, fakes in `testing.py`; `app/live/wiring.py` chooses. The same contract tests
run on both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from propstick.records import Notice, Reading


class Clock(Protocol):
    """Time, and waiting for it."""

    def wall_s(self) -> float:
        """UTC seconds since 1970 as the machine believes them; may jump."""

    def monotonic_s(self) -> float:
        """Seconds that only ever grow, also through suspend; no relation to the calendar."""

    def wait(self, seconds: float) -> bool:
        """Waits on the monotonic clock. True if woken early because `wake` was called."""

    def wake(self) -> None:
        """Ends every wait now and those to come: the program is stopping."""


class ProbeBus(Protocol):
    """A family of probes that can be read together."""

    name: str

    def probes(self) -> tuple[str, ...]:
        """Ids seen at the last look. Never raises."""

    def read(self, row_s: int) -> tuple[Reading, ...]:
        """One reading per probe that answered, stamped for the row. Blocks for the conversion.

        Trouble with one probe is a flagged reading or none, never an exception. `ProbeError` only if
        the whole bus is gone.
        """

    def trouble(self) -> str:
        """What is wrong with the bus as a whole since the last read; empty if nothing. Never raises."""


@dataclass(frozen=True)
class Delivery:
    """How handing a notice to a channel went."""

    ok: bool
    detail: str = ""
    final: bool = False
    """True if trying again cannot help: the address is wrong, the message refused."""


class Channel(Protocol):
    """A way to reach somebody."""

    name: str

    def send(self, notice: Notice, *, link: str | None = None) -> Delivery:
        """Hands over one notice. Never raises; blocks at most some ten seconds."""


class Publisher(Protocol):
    """Retained topics on a broker."""

    def publish(self, topic: str, payload: str, *, retain: bool = True) -> bool:
        """Queues the message; False if it was dropped. Never blocks on the network."""

    def strays(self) -> frozenset[str]:
        """Alarm topics that a life before left standing and this one has not published; each is said once."""


class Inbox(Protocol):
    """Where wireless readings and remote requests arrive."""

    def take(self) -> Sequence[Reading]:
        """All readings that came since the last take, oldest first."""

    def committed(self) -> None:
        """What was taken last is stored: tell the broker so."""
