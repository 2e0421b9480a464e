"""A finding of `propstick check`: a thing, a mark in words, what was found, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from propstick.times import DAY_S

Mark = Literal["ok", "look", "bad"]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One line of the check."""

    thing: str
    mark: Mark
    found: str
    do: str = ""

    def to_json(self) -> dict[str, str]:
        """The finding as `--json` prints it."""
        return {"thing": self.thing, "mark": self.mark, "found": self.found, "do": self.do}


def age(seconds: float) -> str:
    """`40 s`, `12 min`, `5 h`, `3 days`."""
    for unit, size in (("days", DAY_S), ("h", 3600), ("min", 60)):
        if seconds >= 2 * size:
            return f"{seconds / size:.0f} {unit}"
    return f"{max(0, seconds):.0f} s"
