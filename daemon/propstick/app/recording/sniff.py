"""From bytes to lines of text: compression, encodings, stray NUL bytes. Knows nothing of columns."""

from __future__ import annotations

import codecs
import re
import sys
import zlib
from pathlib import Path

from propstick.app.recording.problems import Problems
from propstick.errors import InputError

LARGEST_FILE = 256 * 2**20
LARGEST_TEXT = 768 * 2**20

_BOMS = (
    (codecs.BOM_UTF32_LE, "utf-32", "UTF-32"),
    (codecs.BOM_UTF32_BE, "utf-32", "UTF-32"),
    (codecs.BOM_UTF8, "utf-8-sig", ""),
    (codecs.BOM_UTF16_LE, "utf-16", "UTF-16"),
    (codecs.BOM_UTF16_BE, "utf-16", "UTF-16"),
)
_OTHER_KINDS = (
    (b"PK\x03\x04", "a zip archive or spreadsheet"),
    (b"SQLite format 3\x00", "a database"),
    (b"%PDF", "a PDF"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet"),
    (b"BZh", "a bzip2 archive"),
    (b"\xfd7zXZ\x00", "an xz archive"),
    (b"\x28\xb5\x2f\xfd", "a zstd archive"),
)


def load(source: str | Path | bytes) -> tuple[str, bytes]:
    """Name and content of a recording: a path, `-` for standard input, or the bytes themselves.

    Raises:
        InputError: no such file, a folder, unreadable, or larger than `LARGEST_FILE`.
    """
    if isinstance(source, bytes):
        name, data = "given as bytes", source
    elif str(source) == "-":
        name, data = "standard input", sys.stdin.buffer.read(LARGEST_FILE + 1)
    else:
        name = str(source)
        try:
            with Path(source).open("rb") as file:
                data = file.read(LARGEST_FILE + 1)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or "not a file name"
            got = "a folder" if isinstance(error, IsADirectoryError) else reason.lower()
            raise InputError(f"recording {name}: got {got}, expected a file that can be read") from None
    if len(data) > LARGEST_FILE:
        raise Problems(name).refusal(
            f"more than {LARGEST_FILE // 2**20} MiB", expected="a smaller file", hint="split it by season"
        )
    return name, data


def text_of(data: bytes, problems: Problems) -> str:
    """The text of a recording, whatever it was written with.

    Raises:
        InputError: empty, damaged compression, or a kind of file that is no text.
    """
    if data[:2] == b"\x1f\x8b":
        data = _unzipped(data, problems)
    for magic, kind in _OTHER_KINDS:
        if data.startswith(magic):
            raise problems.refusal(kind, expected="text: a CSV or SenML recording, plain or gzip", line=1)
    if not data.strip(b"\0 \t\r\n"):
        raise problems.refusal("an empty file", expected="a line of column names and rows below it", line=1)
    encoding, said = _encoding(data)
    if said:
        problems.note(f"text was {said}")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        text = data.decode(encoding, errors="replace")
        problems.note("bytes that are no valid text; the cells that hold them are flagged")
    if "\0" in text:
        text = _without_nul_runs(text, problems)
    return text


def _unzipped(data: bytes, problems: Problems) -> bytes:
    parts: list[bytes] = []
    room = LARGEST_TEXT
    try:
        while data:
            member = zlib.decompressobj(wbits=31)
            parts.append(member.decompress(data, room))
            room -= len(parts[-1])
            if room <= 0:
                raise problems.refusal(f"more than {LARGEST_TEXT // 2**20} MiB unpacked", expected="less")
            if not member.eof:
                raise problems.refusal("a gzip file cut short", expected="a whole one", hint="copy it again")
            data = member.unused_data.lstrip(b"\0")  # tape-style padding between members
    except zlib.error:
        raise problems.refusal("a damaged gzip file", expected="a whole one", hint="copy it again") from None
    return b"".join(parts)


def _encoding(data: bytes) -> tuple[str, str]:
    for bom, encoding, said in _BOMS:
        if data.startswith(bom):
            return encoding, said
    head = data[:2000]
    half = len(head) // 2
    # Column names and figures are ASCII, so every second byte of UTF-16 is NUL.
    if half >= 4:
        for first, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
            if head[first::2].count(0) > 0.7 * half and head[1 - first :: 2].count(0) < 0.1 * half:
                return encoding, "UTF-16 without a byte order mark"
    return "utf-8", ""


def _without_nul_runs(text: str, problems: Problems) -> str:
    """Drops NUL bytes at the edges of lines: a power cut leaves runs of them. Others spoil their cell."""
    cleaned, runs = re.subn(r"(?m)^\0+|\0+(?=\r?$)", "", text)
    if runs:
        problems.note("runs of NUL bytes left by a power cut were dropped", times=runs)
    return cleaned
