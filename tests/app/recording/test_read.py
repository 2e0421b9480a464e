"""`read` as a whole: whatever the bytes, a recording or one refusal of ours; large ones in good time."""

import gzip
import io
import sys

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from propstick.app import recording
from propstick.errors import InputError

BASE = (
    "time,north.air,north.lid,outside.air\n"
    + "".join(f"2026-04-12T18:{k:02d}:00Z,{9 - k / 10:.1f},{k % 2},{4 + k / 10:.1f}\n" for k in range(30))
).encode()


ODD_TIMES = [
    "2026-04-12 02:30", "2026-10-25T02:30:00", "1970-01-01T00:00Z", "2099-01-01T00:00:00Z", "", "x",
    "2026-04-12T18:00:00+14:00", "9999-12-31 23:59:59", "0001-01-01 00:00:00",
]  # fmt: skip


def attempt(data, **options):
    """Read, or refused in one line; any other end is a failure of the test."""
    try:
        found = recording.read(data, **options)
    except InputError as error:
        is_one_line = "\n" not in error.message
    else:
        is_one_line = True
        found.span_ms()
        assert found.cells >= len(found.columns)
        assert np.all(np.isfinite(found.columns.raw) | (found.columns.flags > 0))
    assert is_one_line


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=200))
@example(b"[")
@example(b"time,a.air\n\xff\xfe,\n")
@example(b"\xff\xfe")
@example(b"time,a.air\n0000-00-00T00:00:00Z,1\n")
@example(b"time,a.air\n9999-12-31T23:59:59-23:59,1\n")
@example(b"time,a.air\n0001-01-01T00:00:00+23:59,1\n")
@example(b'[{"n":"a.air","t":1e400,"v":1}]')
def test_any_bytes(data):
    """Never a traceback."""
    attempt(data)
    attempt(data, zone="Europe/Berlin")


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, len(BASE)), st.integers(0, 3), st.binary(max_size=4)), min_size=1, max_size=8
    ),
    st.sampled_from(["utf-8", "utf-16", "gzip"]),
)
def test_damaged_tables(edits, wrapped):
    """A good table with bytes cut out and put in anywhere."""
    data = bytearray(BASE)
    for at, cut, put in edits:
        data[at : at + cut] = put
    data = bytes(data)
    if wrapped == "utf-16":
        data = data.decode("latin-1").encode("utf-16")
    elif wrapped == "gzip":
        data = gzip.compress(data)
    attempt(data)


@settings(max_examples=100, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(ODD_TIMES),
            st.sampled_from(["", "9.5", "9,5", "nan", "1e999", "-1e9", "85", '"9', "\0", "٣", "9" * 5000]),
        ),
        max_size=12,
    ),
    st.sampled_from([";", "\t"]),
    st.sampled_from([None, "Europe/Berlin", "Pacific/Apia", "UTC"]),
)  # fmt: skip
def test_odd_times_and_cells(rows, separator, zone):
    """Any mixture of what loggers and spreadsheets write."""
    text = separator.join(["time", "north.air"]) + "\n" + "".join(f"{t}{separator}{c}\n" for t, c in rows)
    attempt(text.encode(), zone=zone)


def test_standard_input_and_gzip_equal_the_plain_file(tmp_path, monkeypatch):
    """The same columns, whichever way they came."""
    plain = recording.read(BASE)
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(BASE)))
    packed = tmp_path / "n.anything"
    packed.write_bytes(gzip.compress(BASE))
    for other in (recording.read("-"), recording.read(packed)):
        assert (other.columns.probes, other.probes, other.covers) == (
            plain.columns.probes, plain.probes, plain.covers,
        )  # fmt: skip
        for name in ("time_ms", "column", "raw", "flags"):
            assert np.array_equal(getattr(other.columns, name), getattr(plain.columns, name))


@pytest.mark.slow
def test_a_season_of_minutes_is_read_whole():
    """260,000 rows by 8 columns: every cell there, in order, unflagged."""
    rows = 260_000
    times = (np.datetime64("2026-01-01T00:00:00") + 60 * np.arange(rows)).astype(str)
    values = (np.arange(rows) % 2000) / 100
    tail = [",".join([f"{v:.2f}"] * 8) for v in values]
    names = ",".join(f"b{k}.air" for k in range(8))
    text = f"time,{names}\n" + "\n".join(f"{t}Z,{c}" for t, c in zip(times, tail, strict=True)) + "\n"
    found = recording.read(text.encode()).columns
    assert len(found) == 8 * rows
    assert not found.flags.any()
    assert np.array_equal(found.raw[::8], values)
    assert np.all(np.diff(found.time_ms[::8]) == 60_000)
