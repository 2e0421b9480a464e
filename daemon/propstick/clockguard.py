"""Was the wall clock set? Told from two clocks at two moments; asks neither itself."""

from __future__ import annotations

from typing import Literal

ClockVerdict = Literal["fine", "back", "forward", "unset"]
JUMP_S = 2.0
"""A difference of the two clocks' progress beyond this is a setting, not drift."""


class ClockGuard:
    """Compares wall and monotonic clock from one look to the next.

    Args:
        earliest_s: No honest wall clock reads less: the newest stored row, or the program's making.
        jump_s: Tolerance.
    """

    def __init__(self, *, earliest_s: float, jump_s: float = JUMP_S) -> None:
        self._earliest_s = earliest_s
        self._jump_s = jump_s
        self._last: tuple[float, float] | None = None

    def look(self, wall_s: float, monotonic_s: float) -> tuple[ClockVerdict, float]:
        """What happened since the last look, and by how many seconds the wall clock was moved.

        A slow drift that a time server corrects in small steps is `fine`. While the clock is before
        `earliest_s` it is `unset`, whatever else it does.
        """
        last, self._last = self._last, (wall_s, monotonic_s)
        moved_s = 0.0 if last is None else (wall_s - last[0]) - (monotonic_s - last[1])
        if wall_s < self._earliest_s:
            return "unset", moved_s
        if abs(moved_s) <= self._jump_s:
            return "fine", moved_s
        return ("forward" if moved_s > 0 else "back"), moved_s
