"""The line of column names of a CSV: where it is, what parts its cells, which units stand in it."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from propstick.app.recording.problems import Problems, shown
from propstick.units import Unit

MOST_COLUMNS = 512
_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_PREAMBLE = 40
"""Lines above the names that a logger may fill with its own matters. Our choice."""
_NAMES = re.compile(r'\ufeff?"?time"?\s*[,;\t]\s*"?[a-z0-9-]+\.[a-z]+', re.IGNORECASE)
_UNIT = re.compile(
    r"(?P<name>\S+?)\s*(?:[\[(]\s*(?P<bracketed>(?:[°º\ufffd]|deg\.?)?\s*(?:c|f|celsius|fahrenheit)|%(?:\s*rh)?|0-1)"
    r"\s*[\])]|(?P<bare>(?<=\s)[°º\ufffd]\s*[cf]|(?<=\s)%))"
)
"""`north.air (°f)`: a name in small letters, and its unit. U+FFFD is a degree sign of another encoding."""


@dataclass(frozen=True)
class Header:
    """The line of column names.

    Attributes:
        line: Its number.
        cells: Names after `time`, in small letters, without their units.
        separator: What stands between cells.
        units: Of each, where its name says °C or °F.
    """

    line: int
    cells: tuple[str, ...]
    separator: str
    units: tuple[Unit | None, ...]


def header_of(lines: Sequence[str], problems: Problems) -> Header:
    """The column names: the first line that is neither blank nor a comment.

    Raises:
        InputError: no `time` column in front, or no other column.
    """
    told: str | None = None
    for number, line in enumerate(lines, 1):
        if skipped(line):
            continue
        if number == 1 and re.fullmatch(r"sep=[,;\t]\s*", line):
            told = line[4]
            continue
        separator = told or max(_SEPARATORS, key=line.count)
        cells = [cell.strip().strip("\ufeff") for cell in split(line, separator)]
        if cells[0].lower() != "time" and _names_below(lines[number : number + _PREAMBLE]):
            problems.note("lines above the column names are passed over", number)
            continue
        if cells[0].lower() != "time":
            raise problems.refusal(
                shown(cells[0]),
                expected="'time' as the first column",
                line=number,
                column="1",
                hint="the first line names the columns: time,outside.air,north.air",
            )
        while len(cells) > 1 and not cells[-1]:
            cells.pop()
            problems.note("a separator ends the line of names", number)
        if len(cells) == 1:
            raise problems.refusal(
                "no column beside time", expected="columns such as north.air", line=number, column="2"
            )
        if len(cells) > MOST_COLUMNS:
            raise problems.refusal(f"{len(cells)} columns", expected=f"at most {MOST_COLUMNS}", line=number)
        names, units = zip(*(_unit_apart(cell.lower()) for cell in cells[1:]), strict=True)
        if cells[0] != "time" or any(not c.startswith(n) for n, c in zip(names, cells[1:], strict=True)):
            problems.note("column names read as small letters", number)
        if separator != ",":
            problems.note(f"cells are parted by {_SEPARATORS[separator]}")
        if any(units):
            problems.note(f"{' and '.join(sorted({f'°{u}' for u in units if u}))} as the column names say")
        return Header(number, names, separator, units)
    raise problems.refusal("no line of column names", expected="time,<box>.<place>,…", line=1)


def _names_below(lines: Sequence[str]) -> bool:
    """Whether one of some lines names columns as a recording does: what a logger writes above is its own."""
    return any(_NAMES.match(line) for line in lines)


def _unit_apart(name: str) -> tuple[str, Unit | None]:
    """A column's name without the unit that may stand behind it, and that unit if it is a temperature's."""
    found = _UNIT.fullmatch(name)
    if found is None:
        return name, None
    letter = re.sub(r"^(deg\.?|[°º\ufffd])?\s*", "", found["bracketed"] or found["bare"])[:1]
    return found["name"], {"c": "C", "f": "F"}.get(letter)  # type: ignore[return-value]


def skipped(line: str) -> bool:
    """Whether a line is blank or a comment."""
    return not line.strip() or line.lstrip().startswith("#")


def split(line: str, separator: str) -> list[str]:
    """The cells of one line."""
    if '"' not in line:
        return line.split(separator)
    try:
        return next(csv.reader([line], delimiter=separator), [""])
    except csv.Error:  # a cell longer than the module takes
        return line.split(separator)
