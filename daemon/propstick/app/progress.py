"""A progress bar on standard error: on a terminal only, and only for work longer than two seconds."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from types import TracebackType
from typing import TextIO

SHOWN_AFTER_S = 2.0
REDRAWN_EVERY_S = 0.2
WIDTH = 30


class Progress:
    """How far a long piece of work has come; to be used in a `with`.

    Args:
        label: What is being done, in a few words.
        total: How many steps there are; None or 0 if unknown, then only a count is shown.
        stream: Where to draw; nothing is drawn unless it is a terminal.
        monotonic: Seconds that only grow.
    """

    def __init__(
        self,
        label: str,
        *,
        total: int | None = None,
        stream: TextIO | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._label = label
        self._total = total
        self._stream = sys.stderr if stream is None else stream
        self._monotonic = monotonic
        self._begun_s = monotonic()
        self._drawn_s = float("-inf")
        self._is_terminal = self._stream.isatty()

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._drawn_s > float("-inf"):
            self._stream.write("\r\x1b[K")
            self._stream.flush()

    def to(self, done: int, total: int | None = None) -> None:
        """So many steps are done (of a total that may only now be known)."""
        self._total = total if total is not None else self._total
        now_s = self._monotonic()
        is_early = now_s - self._begun_s < SHOWN_AFTER_S
        if not self._is_terminal or is_early or now_s - self._drawn_s < REDRAWN_EVERY_S:
            return
        self._drawn_s = now_s
        self._stream.write("\r\x1b[K" + self._line(done, now_s - self._begun_s))
        self._stream.flush()

    def _line(self, done: int, spent_s: float) -> str:
        if not self._total:
            return f"{self._label}: {done:,}"
        share = min(1.0, max(0.0, done / self._total))
        bar = "=" * round(share * WIDTH)
        left_s = spent_s * (1 - share) / share if share > 0 else 0.0
        return f"{self._label} [{bar:<{WIDTH}}] {share:4.0%}, {left_s:.0f} s left"
