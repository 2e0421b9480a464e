"""What was odd about a recording: said in words, with the line, or refused in one line."""

from __future__ import annotations

from dataclasses import dataclass, field

from propstick.errors import InputError

_SHOWN = 48


def shown(text: object) -> str:
    """Somebody's text as part of one line of ours: quoted, control characters escaped, cut short."""
    quoted = repr(text)
    return quoted if len(quoted) <= _SHOWN else f"{quoted[: _SHOWN - 2]}…'"


@dataclass
class Problems:
    """Collects remarks while a recording is read.

    Attributes:
        name: What messages call the recording: its path, or `standard input`.
    """

    name: str
    _found: dict[str, list[int]] = field(default_factory=dict)

    def note(self, what: str, line: int | None = None, *, times: int = 1) -> None:
        """Something was read in a way that should be said; `line` is where it was first seen."""
        entry = self._found.setdefault(what, [0, line or 0])
        entry[0] += times

    @property
    def remarks(self) -> tuple[str, ...]:
        """One sentence for each kind of oddity, in the order they were met."""
        return tuple(
            what
            + (f", line {line}" if line and count == 1 else "")
            + (f", {count} times, first in line {line}" if line and count > 1 else "")
            for what, (count, line) in self._found.items()
        )

    def refusal(
        self,
        got: str,
        *,
        expected: str,
        line: int | None = None,
        column: str | None = None,
        hint: str = "",
    ) -> InputError:
        """The error that refuses the recording; one line that names file, line and column."""
        where = f"recording {self.name}"
        if line is not None:
            where += f", line {line}"
        if column is not None:
            where += f", column {column}"
        return InputError(f"{where}: got {got}, expected {expected}", hint=hint)
