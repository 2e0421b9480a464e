"""On which line of a TOML text each key stands, for error messages.

`tomllib` forgets positions and no library of ours keeps them, so the text is walked once more. Only
the text of a file that `tomllib` has already accepted gets here, so the walk may be simple.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

Path = tuple[str | int, ...]

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"))*)\s*=""")
_INNER_KEY = re.compile(r"""(?:^|[{,])\s*([A-Za-z0-9_-]+)\s*=""")
_STRING = re.compile(r'"(?:\\.|[^"\\])*"|\'[^\']*\'')


class Lines:
    """Line numbers by path, such as `("box", 1, "alarms", "heat_c")`; the first line is 1."""

    def __init__(self, text: str) -> None:
        self._found: dict[Path, int] = {}
        self._counts: dict[Path, int] = {}
        self._table: Path = ()
        self._open_value: tuple[Path, int] | None = None
        for number, line in enumerate(text.splitlines(), start=1):
            self._walk(number, line)

    def of(self, path: Path) -> int | None:
        """The line of the path, else the first below it, else that of the nearest table around it."""
        for length in range(len(path), 0, -1):
            if (line := self._found.get(path[:length])) is not None:
                return line
            below = [line for found, line in self._found.items() if found[:length] == path[:length]]
            if below:
                return min(below)
        return None

    def last_of(self, path: Path) -> int:
        """The last line on which a key at or below the path begins."""
        return max(line for found, line in self._found.items() if found[: len(path)] == path)

    def _walk(self, number: int, line: str) -> None:
        bare = _STRING.sub('""', line)
        if self._open_value is not None:
            path, depth = self._open_value
            self._note_inner(path, number, bare)
            depth += _depth(bare)
            self._open_value = (path, depth) if depth > 0 else None
        elif header := _HEADER.match(line):
            self._table = self._enter(_names(header[2]), is_array=header[1] == "[[")
            self._found[self._table] = number
        elif key := _KEY.match(line):
            path = (*self._table, *_names(key[1]))
            self._found.setdefault(path, number)
            value = bare[bare.index("=") + 1 :]
            self._note_inner(path, number, value)
            if (depth := _depth(value)) > 0:
                self._open_value = (path, depth)

    def _enter(self, names: tuple[str, ...], *, is_array: bool) -> Path:
        """The path of a table header: names of arrays of tables are followed by their index."""
        path: Path = ()
        for k, name in enumerate(names):
            path = (*path, name)
            if is_array and k == len(names) - 1:
                self._counts[path] = self._counts.get(path, -1) + 1
            if path in self._counts:
                path = (*path, self._counts[path])
        return path

    def _note_inner(self, path: Path, number: int, text: str) -> None:
        """Keys of inline tables inside a value, under the index of the table in its array."""
        for match in re.finditer(r"\{|" + _INNER_KEY.pattern, text):
            if "{" in match[0]:
                self._counts[path] = self._counts.get(path, -1) + 1
                self._found.setdefault((*path, self._counts[path]), number)
            if match[1]:
                for table in ((*path, self._counts.get(path, 0)), path):
                    self._found.setdefault((*table, match[1]), number)


def _depth(text: str) -> int:
    text = text.split("#", 1)[0]
    return sum(text.count(c) for c in "[{") - sum(text.count(c) for c in "]}")


def _names(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def value_at(data: Mapping, path: Path) -> object:
    """What stands at a path of the parsed file; None where nothing does."""
    found: object = data
    for step in path:
        try:
            found = found[step]  # type: ignore[index]
        except (KeyError, IndexError, TypeError):
            return None
    return found
