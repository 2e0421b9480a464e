"""What goes out can be read by any program, and by our own replay."""

import csv
import io
import json

import numpy as np
import pytest

from propstick.blocks import Flag
from propstick.edges.export import column_names, write_alarms, write_csv, write_senml
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.garden import Box, Garden, Probe
from propstick.news import CoverTold, LidTold
from propstick.records import Outcome, Reading

ROW_S = 1_773_500_400  # 2026-03-14T15:00:00Z
ALL = {"from_ms": 0, "to_ms": 2**60}
GARDEN = Garden(
    boxes=(Box(name="north"),),
    probes=(
        Probe(id="28-1", box="north", place="air", correction_c=0.5),
        Probe(id="shed/air", box="north", place="air"),
        Probe(id="28-2", box="outside", place="air"),
        Probe(id="shed/wet", box="north", place="humidity"),
    ),
)


@pytest.fixture
def log(store):
    """Two rows, a value with milliseconds, one that is no number, one of an unset clock."""
    journal = Journal(store, "home")
    for k, readings in enumerate(
        [
            [Reading("28-1", ROW_S * 1000, 8.25), Reading("28-2", ROW_S * 1000, -0.06)],
            [
                Reading("28-1", (ROW_S + 60) * 1000, 85.0, int(Flag.POWER_ON)),
                Reading("28-2", (ROW_S + 60) * 1000, None, int(Flag.CHECKSUM)),
                Reading("shed/wet", (ROW_S + 60) * 1000 - 125, 61.0),
                Reading("28-1", 5000, 20.0, int(Flag.CLOCK)),
                Reading("28-retired", (ROW_S + 60) * 1000, 3.0),
            ],
        ]
    ):
        journal.commit(row_s=ROW_S + 60 * k, readings=readings, outcome=Outcome())
    return ReadingLog(store, "home")


def test_columns_are_named_by_place_and_by_probe_where_there_are_two():
    """As the recording format says; signs that a name may not hold become a dash."""
    assert column_names(GARDEN) == {
        "28-1": "north.air.28-1",
        "shed/air": "north.air.shed-air",
        "28-2": "outside.air",
        "shed/wet": "north.humidity",
    }


def test_csv_is_a_recording(log):
    """Raw values, uncorrected, a line per moment; what a person told stands in each line from then on."""
    out = io.StringIO()
    told = [
        LidTold(time_s=ROW_S + 30, box="north", opening=0.1),
        CoverTold(time_s=ROW_S - 60, box="north", on=True),
    ]
    exported = write_csv(log, out, names=column_names(GARDEN), told=told, **ALL)
    assert out.getvalue().splitlines() == [
        "time,north.air.28-1,outside.air,north.humidity,north.lid,north.cover",
        "2026-03-14T15:00:00Z,8.25,-0.06,,,1",
        "2026-03-14T15:00:59.875Z,,,61.0,0.1,1",
        "2026-03-14T15:01:00Z,85.0,,,0.1,1",
    ]
    assert exported.readings == 4
    assert exported.left_out == ("28-retired",)


def test_senml_is_what_rfc_8428_says(log):
    """Section 4: a JSON array of records with name, unit of the registry, time and value."""
    out = io.StringIO()
    exported = write_senml(log, out, names=column_names(GARDEN), **ALL)
    assert json.loads(out.getvalue()) == [
        {"n": "north.air.28-1", "u": "Cel", "t": ROW_S, "v": 8.25},
        {"n": "outside.air", "u": "Cel", "t": ROW_S, "v": -0.06},
        {"n": "north.humidity", "u": "%RH", "t": ROW_S + 59.875, "v": 61.0},
        {"n": "north.air.28-1", "u": "Cel", "t": ROW_S + 60, "v": 85.0},
    ]
    assert exported.readings == 4


def test_empty_store_exports_an_empty_table(store):
    """Headings, or an empty array; valid all the same."""
    log = ReadingLog(store, "home")
    out = io.StringIO()
    write_csv(log, out, names=column_names(GARDEN), **ALL)
    assert out.getvalue() == "time\n"
    out = io.StringIO()
    write_senml(log, out, names={}, **ALL)
    assert json.loads(out.getvalue()) == []
    out = io.StringIO()
    assert write_alarms(Journal(store, "home"), out, from_s=0, to_s=2**40) == 0
    assert json.loads(out.getvalue()) == []


def test_alarms_are_the_same_objects_as_everywhere(store, make_change):
    """One a line, oldest first."""
    journal = Journal(store, "home")
    changes = tuple(make_change(ROW_S + k) for k in range(3))
    journal.commit(row_s=ROW_S + 60, readings=[], outcome=Outcome(changes=changes))
    out = io.StringIO()
    assert write_alarms(journal, out, from_s=0, to_s=2**40) == 3
    assert json.loads(out.getvalue()) == [change.alarm.to_json() for change in changes]


def test_csv_read_back_gives_the_same_values(store, make_columns):
    """Through Python's own csv: every value and time over several days, with progress to the end."""
    values = np.round(np.random.default_rng(4).normal(5, 9, (400, 2)), 2)
    log = ReadingLog(store, "home")
    log.bulk_add(make_columns(values, probes=["28-1", "28-2"], start_s=ROW_S, step_s=600))
    told: list = []
    out = io.StringIO()
    write_csv(
        log, out, names={"28-1": "north.air", "28-2": "outside.air"}, from_ms=ROW_S * 1000,
        to_ms=(ROW_S + 600 * 400) * 1000, progress=lambda done, of: told.append(done / of),
    )  # fmt: skip
    header, *lines = csv.reader(io.StringIO(out.getvalue()))
    assert header == ["time", "north.air", "outside.air"]
    assert np.array_equal(np.array([line[1:] for line in lines], dtype=float), values)
    assert told == sorted(told)
    assert told[-1] > 0.99
