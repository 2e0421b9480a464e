"""Every exception class of the project; nothing is defined elsewhere.

A message names the thing, what it was and what was expected; `hint` is one action the reader can
take. `str(error)` gives both, so a plain `print(error)` is already useful.
"""

from __future__ import annotations

from typing import Literal


class PropstickError(Exception):
    """Root of all errors the project raises on purpose."""

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message}\nTry: {self.hint}" if self.hint else self.message


class ConfigError(PropstickError, ValueError):
    """The garden file, or an option, cannot be used as written."""


class InputError(PropstickError, ValueError):
    """A recording, a request body or an argument cannot be read without guessing."""


class ProbeError(PropstickError, OSError):
    """A probe or its bus did not answer."""


StoreReason = Literal[
    "full", "read-only", "locked", "corrupt", "unreachable", "disk", "missing", "foreign", "old", "leased",
    "newer", "other",
]  # fmt: skip
"""What kind of trouble: the watch goes on differently with a full disk than with a damaged file."""


class StoreError(PropstickError, RuntimeError):
    """The store cannot be opened, read or written."""

    def __init__(self, message: str, *, hint: str = "", reason: StoreReason = "other") -> None:
        super().__init__(message, hint=hint)
        self.reason = reason


class TurnBack(PropstickError):
    """A person wants the question before this one: a turn in a conversation, no fault."""
