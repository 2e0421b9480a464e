"""Recordings in SenML: RFC 8428 packs whose names are column names."""

import json

import pytest

from propstick.app import recording
from propstick.blocks import Flag
from propstick.errors import InputError

T = 1_776_016_800


def read(records, **options):
    return recording.read(json.dumps(records).encode(), **options)


def test_a_pack_reads_like_the_table_of_the_same_readings():
    """Base fields resolved; the order of probes in the pack does not matter."""
    pack = [
        {"bn": "north.", "bt": T, "bu": "Cel", "n": "air", "v": 9.5},
        {"n": "air", "t": 60, "v": 9.4},
        {"bn": "outside.", "n": "air", "v": 4.25},
    ]
    text = "time,north.air,outside.air\n2026-04-12T18:00:00Z,9.5,4.25\n2026-04-12T18:01:00Z,9.4,\n"
    ours, table = read(pack), recording.read(text.encode())
    assert sorted(zip(ours.columns.time_ms, ours.columns.raw, strict=True)) == sorted(
        zip(table.columns.time_ms, table.columns.raw, strict=True)
    )
    assert not ours.columns.flags.any()
    assert ours.probes == table.probes


@pytest.mark.parametrize(
    ("name", "unit", "value", "expected"),
    [
        ("north.air", "Cel", 9.5, 9.5),
        ("north.air", "K", 282.65, 9.5),
        ("north.humidity", "%RH", 81, 81),
        ("north.humidity", "/", 0.81, 81),
        ("north.lid", "/", 0.3, 0.3),
        ("north.lid", "%", 30, 0.3),
    ],
)
def test_registered_units_are_converted(name, unit, value, expected):
    """Whatever `--unit` says: a pack names its own units."""
    found = read([{"n": name, "u": unit, "t": T, "v": value}], unit="F")
    assert found.columns.raw[0] == pytest.approx(expected)


def test_a_cover_may_be_a_truth_value():
    """`vb` of a contact."""
    found = read([{"n": "north.air", "t": T, "v": 9}, {"n": "north.cover", "t": T, "vb": True}])
    assert [(c.box, c.on, c.time_s) for c in found.covers] == [("north", True, T)]


def test_text_is_no_number():
    """A value in words is kept without a value, flagged."""
    found = read([{"n": "north.air", "t": T, "v": 9}, {"n": "north.air", "t": T + 60, "vs": "warm"}])
    assert found.columns.flags.tolist() == [0, Flag.NOT_A_NUMBER]


@pytest.mark.parametrize(
    ("records", "words"),
    [
        ([{"n": "north.air", "u": "degF", "t": T, "v": 9}], "record 1"),
        ([{"n": "north.temp", "t": T, "v": 9}], "air, soil"),
        ([{"n": "north.air", "v": 9}], "relative time"),
        ([], "empty array"),
        ({"n": "north.air"}, "expected an array"),
        ([{"n": "north.air", "t": T, "v": "9"}], "a number"),
    ],
)
def test_refused_with_the_record_and_the_field(records, words):
    """One line that begins with the recording's name."""
    with pytest.raises(InputError, match=words) as refused:
        read(records)
    assert refused.value.message.startswith("recording ")
    assert "\n" not in refused.value.message


def test_a_pack_of_nothing_is_refused_in_words():
    """No record, no column: a refusal like any other."""
    with pytest.raises(InputError, match="no reading"):
        recording.read(b"[{}]")
