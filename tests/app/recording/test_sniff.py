"""Bytes to text: what a recording may be wrapped in, and what is refused for what it is."""

import gzip
import io
import sys

import pytest

from propstick.app.recording.problems import Problems
from propstick.app.recording.sniff import load, text_of
from propstick.errors import InputError

TEXT = "time,north.air\n2026-04-12T18:00:00Z,9.5\n"


@pytest.mark.parametrize(
    ("data", "remark"),
    [
        (TEXT.encode(), ""),
        (b"\xef\xbb\xbf" + TEXT.encode(), ""),
        (TEXT.encode("utf-16"), "UTF-16"),
        (b"\xfe\xff" + TEXT.encode("utf-16-be"), "UTF-16"),
        (TEXT.encode("utf-16-le"), "UTF-16 without"),
        (TEXT.encode("utf-16-be"), "UTF-16 without"),
        (TEXT.encode("utf-32"), "UTF-32"),
        (gzip.compress(TEXT.encode()), ""),
        (gzip.compress(TEXT[:20].encode()) + gzip.compress(TEXT[20:].encode()), ""),
    ],
)
def test_every_usual_wrapping_gives_the_same_text(data, remark):
    """Encodings, byte order marks, gzip of one member or several; odd ones are said."""
    problems = Problems("x")
    assert text_of(data, problems) == TEXT
    assert remark in " ".join(problems.remarks)
    assert bool(problems.remarks) == bool(remark)


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "empty"),
        (b"\0\0\0\n", "empty"),
        (b"PK\x03\x04rest", "spreadsheet"),
        (b"SQLite format 3\x00", "database"),
        (b"%PDF-1.7", "PDF"),
        (gzip.compress(TEXT.encode())[:-9], "cut short"),
        (b"\x1f\x8b\x08\x00" + b"\xff" * 20, "gzip"),
    ],
)
def test_what_is_no_text_is_refused_by_name(data, word):
    """One line that says what it was."""
    with pytest.raises(InputError, match=word) as refused:
        text_of(data, Problems("night.csv"))
    assert "night.csv" in refused.value.message
    assert "\n" not in refused.value.message


def test_nul_runs_of_a_power_cut_are_dropped_and_said():
    """A file system fills the lost end of a line with NUL bytes; the next line begins after them."""
    problems = Problems("x")
    assert text_of(b"a,b\n\0\0\0\0c,d\ne,f\0\0\n", problems) == "a,b\nc,d\ne,f\n"
    assert "power cut" in problems.remarks[0]


def test_gzip_is_not_unpacked_without_bound(monkeypatch):
    """A small file that would fill the memory is refused."""
    monkeypatch.setattr("propstick.app.recording.sniff.LARGEST_TEXT", 1000)
    with pytest.raises(InputError, match="unpacked"):
        text_of(gzip.compress(b"0" * 100_000), Problems("x"))


def test_load_reads_a_path_standard_input_and_bytes_alike(tmp_path, monkeypatch):
    """And names each."""
    path = tmp_path / "n.csv"
    path.write_bytes(TEXT.encode())
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(TEXT.encode())))
    assert load(path) == (str(path), TEXT.encode())
    assert load("-") == ("standard input", TEXT.encode())
    assert load(TEXT.encode())[1] == TEXT.encode()


@pytest.mark.parametrize("name", ["missing.csv", ".", "a\0b"])
def test_load_refuses_what_cannot_be_read(tmp_path, name):
    """No traceback of the operating system."""
    with pytest.raises(InputError, match="expected a file that can be read"):
        load(str(tmp_path / name) if "\0" not in name else name)
