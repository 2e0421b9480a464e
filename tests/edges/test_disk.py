"""A file is replaced whole or not at all."""

import os
import stat

import pytest

from propstick.edges.disk import flush, replace_whole


def test_the_new_file_takes_the_old_one_s_place(tmp_path):
    """With the mode it is given, and nothing left beside it."""
    file = tmp_path / "a.toml"
    file.write_text("old")
    replace_whole(file, b"new", prepare=lambda part: part.chmod(0o640))
    assert file.read_text() == "new"
    assert stat.S_IMODE(file.stat().st_mode) == 0o640
    assert list(tmp_path.iterdir()) == [file]


def test_nobody_else_can_read_it_before_it_is_prepared(tmp_path):
    modes = []
    replace_whole(
        tmp_path / "secret", b"x", prepare=lambda part: modes.append(stat.S_IMODE(part.stat().st_mode))
    )
    assert modes == [0o600]


@pytest.mark.parametrize("stop", ["prepare", "replace"])
def test_whatever_stops_it_the_old_file_stays(tmp_path, monkeypatch, stop):
    """And nothing is left beside it: it may hold a password."""
    file = tmp_path / "a.toml"
    file.write_text("old")

    def fail(*_):
        raise OSError(28, "No space left on device")

    if stop == "replace":
        monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(OSError, match="No space"):
        replace_whole(file, b"new", prepare=fail if stop == "prepare" else lambda _part: None)
    assert file.read_text() == "old"
    assert list(tmp_path.iterdir()) == [file]


def test_what_is_not_there_cannot_be_flushed(tmp_path):
    flush(tmp_path)
    with pytest.raises(FileNotFoundError):
        flush(tmp_path / "gone")
