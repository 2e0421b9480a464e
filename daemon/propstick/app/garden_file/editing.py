"""Edits names and corrections in the grower's own file, keeping its comments and its order.

A file is replaced whole or not at all: the new text is checked as a garden file, written beside the
old one, flushed to the disk and renamed over it. If somebody else wrote to the file meanwhile, their
work stays and the edit is refused.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import tomlkit

from propstick.app.garden_file.load import parse
from propstick.app.garden_file.toml_lines import Lines
from propstick.edges.disk import replace_whole
from propstick.errors import ConfigError, InputError

Change = Callable[[str], str]
"""From the file's text to its new text."""


def edit(path: Path, change: Change) -> None:
    """Applies a change to a garden file.

    Raises:
        ConfigError: the file, or what the change makes of it, is not a good garden file; the file
            was changed by somebody else meanwhile; it cannot be written.
    """
    before = _read(path)
    text = before.decode("utf-8-sig").replace("\r\n", "\n")
    parse(text, path, probes_required=False)
    after = change(text)
    parse(after, path, probes_required=False)
    if after != text:
        _replace(path, before, after.encode("utf-8"))


def assign(probe_id: str, where: str, place: str, *, is_loose: bool = False) -> Change:
    """The change that puts a probe in a place: a new `[[probe]]`, or the one it has moved.

    Args:
        where: A box or `outside`; of a loose probe its spot.
    """
    key, other = ("spot", "box") if is_loose else ("box", "spot")

    def change(text: str) -> str:
        document = tomlkit.parse(text)
        index = _index(document, probe_id)
        if index is None:
            return _with_new_probe(text, document, {"id": probe_id, key: where, "place": place})
        entry = document["probe"][index]
        if other in entry:
            del entry[other]
        entry[key] = where
        entry["place"] = place
        return tomlkit.dumps(document)

    return change


def correct(probe_id: str, correction_c: float, *, comment: str) -> Change:
    """The change that stores a probe's correction, with how it was found as a comment behind it."""

    def change(text: str) -> str:
        document = tomlkit.parse(text)
        index = _index(document, probe_id)
        if index is None:
            raise InputError(
                f"probe {probe_id!r}: not in the garden file, so it has no place for a correction",
                hint=f"propstick probes name {probe_id} BOX PLACE",
            )
        entry = document["probe"][index]
        for key in ("correction_c", "correction_f"):
            if key in entry:
                del entry[key]
        text = tomlkit.dumps(document)
        line = Lines(text).of(("probe", index, "place")) or 0
        return _insert(text, line, [f"correction_c = {correction_c:.2f}  # {comment}"])

    return change


def _index(document: tomlkit.TOMLDocument, probe_id: str) -> int | None:
    entries: Any = document.get("probe", [])
    return next((k for k, entry in enumerate(entries) if entry.get("id") == probe_id), None)


def _with_new_probe(text: str, document: tomlkit.TOMLDocument, words: Mapping[str, str]) -> str:
    """The new entry after the last one, before whatever comment leads over to the next table.

    tomlkit counts such a comment to the table above it and would write below it: hence by lines.
    """
    entry = ["[[probe]]", *(f"{key} = {tomlkit.item(value).as_string()}" for key, value in words.items())]
    count = len(document.get("probe", []))
    if count:
        return _insert(text, Lines(text).last_of(("probe", count - 1)), ["", *entry])
    end = len(text.splitlines())
    return _insert(text, end, [""] * bool(text.strip()) + entry)


def _insert(text: str, after_line: int, new: list[str]) -> str:
    lines = text.splitlines()
    above = lines[after_line - 1] if after_line else ""
    indent = above[: len(above) - len(above.lstrip())]
    lines[after_line:after_line] = [indent + line if line else line for line in new]
    return "\n".join(lines) + "\n"


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise ConfigError(
            f"{path}: cannot be read ({error.strerror}), expected a garden file",
            hint="name it with --garden FILE",
        ) from None


def _replace(path: Path, before: bytes, after: bytes) -> None:
    target = path.resolve()  # a link stays a link

    def prepare(part: Path) -> None:
        _like(target, part)
        if target.read_bytes() != before:
            raise ConfigError(
                f"{path}: was changed by somebody else meanwhile; nothing was written",
                hint="run the command again",
            )

    try:
        replace_whole(target, after, prepare=prepare)
    except OSError as error:
        raise ConfigError(
            f"{path}: cannot be written ({error.strerror or error}), expected a writable file and folder",
            hint="run the command as the user the file belongs to, or with sudo",
        ) from None


def _like(target: Path, part: Path) -> None:
    """Mode and owner of the file that is replaced."""
    old = target.stat()
    part.chmod(stat.S_IMODE(old.st_mode))
    if (old.st_uid, old.st_gid) != (os.geteuid(), os.getegid()):
        os.chown(part, old.st_uid, old.st_gid)
