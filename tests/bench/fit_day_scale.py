"""Reprints the priors of night and rise: `python -m tests.bench.fit_day_scale FOLDER [EPW_FOLDER]`.

Simulated boxes live through measured and typical-year weather; a random-effects fit over sites and boxes
gives the mean coefficients and how far they stray. FOLDER holds the measured recordings with their
`_weather` files (Davos and Tharandt are used; New York 2013 never is). EPW_FOLDER holds typical years in
EnergyPlus format; those in use were Amsterdam, London, Aberdeen, 45 N 8 E, Seville, Shimla, Chapeco and
Sydney, as carried by the packages pvlib 0.11.0 (source) and accim-samples 0.8.2.
"""

from __future__ import annotations

import csv
import gzip
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from tests.bench import day_worlds as worlds

from propstick.engine import horizon, night, night_prior, rise
from propstick.engine.evening import NAMES as NIGHT_NAMES
from propstick.garden import Site
from propstick.simulation.frame import FrameSpec
from propstick.units import FloatArray, IntArray

BOXES = 4
DAYS = 105
SPREAD_FACTOR = 4.0
"""Learning is quickest, and no forecast worse, with four times the spread found between sites."""
SAME_NIGHT = 0.15
"""A sample counts this much: hours of one night, and boxes of one site, are not independent."""


@dataclass(frozen=True)
class Station:
    """Hours of air, dew point, wind and rain at a place."""

    name: str
    latitude: float
    longitude: float
    time_s: IntArray
    at: dict[str, FloatArray]


def measured(folder: Path, name: str, *, latitude: float, longitude: float) -> Station:
    """One of the measured recordings with its weather file."""
    with gzip.open(folder / f"{name}.csv.gz", "rt") as lines:
        air = {row["time"]: row["outside.air"] for row in csv.DictReader(lines)}
    with gzip.open(folder / f"{name}_weather.csv.gz", "rt") as lines:
        humidity = {row["time"]: row["humidity_pct"] for row in csv.DictReader(lines)}
    times = [t for t in air if air[t] and humidity.get(t)]
    time_s = np.array([int(datetime.fromisoformat(t).timestamp()) for t in times])
    air_c = np.array([float(air[t]) for t in times])
    share = np.log(np.clip([float(humidity[t]) for t in times], 1.0, 100.0) / 100.0)
    warm = share + 17.27 * air_c / (air_c + 237.3)
    at = {"air": air_c, "dew": 237.3 * warm / (17.27 - warm), "wind": 2.0 + 0.0 * air_c, "rain": 0.0 * air_c}
    return Station(name, latitude, longitude, time_s, at)


def typical(path: Path) -> Station:
    """A typical year in EnergyPlus weather format."""
    with path.open(encoding="latin-1") as lines:
        table = list(csv.reader(lines))
    latitude, longitude, zone_h = (float(table[0][k]) for k in (6, 7, 8))
    body = [row for row in table[8:] if len(row) > 30]
    start_s = datetime(2019, 1, 1, tzinfo=UTC).timestamp() + 3600 - 3600 * zone_h
    time_s = (start_s + 3600 * np.arange(len(body))).astype(np.int64)
    columns = {"air": 6, "dew": 7, "wind": 21}
    at = {name: np.array([float(row[k]) for row in body]) for name, k in columns.items()}
    return Station(path.stem, latitude, longitude, time_s, {**at, "rain": 0.0 * at["air"]})


def lived_through(station: Station, first_s: int, *, seed: int) -> tuple[dict, dict]:
    """Night samples (with outside air, and without) and rise samples of one stretch at one station."""
    time_s = np.arange(first_s, first_s + DAYS * 86_400, 60, dtype=np.int64)
    at = {k: np.interp(time_s, station.time_s, v) for k, v in station.at.items()}
    place = {"latitude_deg": station.latitude, "longitude_deg": station.longitude}
    weather = worlds.from_hours(time_s, at, seed=seed, **place)
    site = Site(latitude=station.latitude, longitude=station.longitude)
    specs = [FrameSpec.draw(50_000 + 100 * seed + k) for k in range(BOXES)]
    rows = worlds.lived(weather, site, specs, seed=seed).rows
    unknown = np.full(len(rows), np.nan)
    alone = replace(rows, outside_air_c=unknown, outside_soil_c=unknown, outside_humidity_pct=unknown)
    nights, rises = _samples(rows, site)
    return {"beside": nights, "alone": _samples(alone, site)[0]}, rises


def _samples(rows, site: Site) -> tuple[dict, dict]:
    """What learning was fed: caught where `night` and `rise` take it in."""
    nights: list[tuple] = []
    rises: list[tuple] = []
    regress, learn = night._regress, rise.learn

    def catch_night(state, issues, truths):
        for issue, truth in zip(issues, truths, strict=True):
            nights.append((issue.bin, issue.evening.features, truth - issue.evening.air_c))
        return regress(state, issues, truths)

    def catch_rise(state, slots, day, *, site):
        for k, hours in enumerate(rise.ISSUE_HOURS):
            time_s = rise.issue_time_s(day, hours)
            if hours <= 1 or time_s <= day.noon_s:
                x = rise._features(state, slots, day, time_s, site)
                rises.append((k, x, rise._truth_c(slots, day, time_s)))
        return learn(state, slots, day, site=site)

    night._regress, rise.learn = catch_night, catch_rise
    try:
        horizon.advance(horizon.start(rows.air_c.shape[1]), rows, site=site)
    finally:
        night._regress, rise.learn = regress, learn
    return _stacked(nights), _stacked(rises)


def _stacked(samples: list[tuple]) -> dict:
    which, x, y = zip(*samples, strict=True)
    return {"which": np.array(which), "x": np.stack(x), "y": np.stack(y)}


def random_effects(
    groups: list[tuple[FloatArray, FloatArray]], *, share: float
) -> tuple[FloatArray, FloatArray, float]:
    """Mean, spread between groups and error left of a regression, by expectation-maximisation.

    Args:
        groups: Features and outcomes of each group.
        share: What one sample counts.
    """
    sums = [(x.T @ x, x.T @ y, float(y @ y), len(y)) for x, y in groups]
    f = sums[0][0].shape[0]
    xx = sum(s[0] / s[3] for s in sums)
    mean = np.linalg.solve(xx + 1e-4 * np.eye(f), sum(s[1] / s[3] for s in sums))
    spread2, noise2 = np.full(f, 0.09), 2.0
    for _ in range(10):
        within = [np.linalg.inv(np.diag(1.0 / spread2) + share * s[0] / noise2) for s in sums]
        own = np.array(
            [v @ (mean / spread2 + share * s[1] / noise2) for v, s in zip(within, sums, strict=True)]
        )
        left = [(s[2] - 2.0 * m @ s[1] + m @ s[0] @ m) / s[3] for m, s in zip(own, sums, strict=True)]
        mean, noise2 = own.mean(axis=0), float(np.mean(left))
        stray = (own - mean) ** 2 + np.array([np.diag(v) for v in within])
        spread2 = np.maximum(stray.mean(axis=0), 1e-4)
    return mean, np.sqrt(spread2), float(np.sqrt(noise2))


def fit_nights(runs: list[dict]) -> dict[str, tuple[FloatArray, FloatArray, FloatArray, FloatArray]]:
    """Coefficients, spread, error left and typical features of each variant."""
    left_out = {
        "alone": {"lift", "open_lift", "open_soil", "dew_gap"},
        "beside": {"open_soil", "dew_gap"},
        "humid": {"open_soil"},
        "ground": {"lift", "open_lift", "own_change_1h", "soil_over_air", "open_soil", "dew_gap"},
        "ground humid": {"lift", "open_lift", "own_change_1h", "soil_over_air", "open_soil"},
    }
    fitted = {}
    for variant in night_prior.VARIANTS:
        source = "alone" if variant == "alone" else "beside"
        columns = [BOXES] if variant.startswith("ground") else range(BOXES)
        on = [k for k, name in enumerate(NIGHT_NAMES) if name not in left_out[variant]]
        shape = (len(night_prior.BINS), len(NIGHT_NAMES))
        mean, spread, noise = np.zeros(shape), np.zeros(shape), np.zeros(shape[0])
        everything = []
        for which in range(shape[0]):
            groups = []
            for run in runs:
                here = run[source]["which"] == which
                for column in columns:
                    x, y = run[source]["x"][here, column], run[source]["y"][here, column]
                    everything.append(x)
                    known = ~np.isnan(x[:, on]).any(axis=1) & ~np.isnan(y)
                    if known.sum() > 30:
                        groups.append((x[known][:, on], y[known]))
            mean[which, on], spread[which, on], noise[which] = random_effects(groups, share=SAME_NIGHT)
        typical_x = np.nan_to_num(np.nanmean(np.concatenate(everything), axis=0))
        wide = np.maximum(SPREAD_FACTOR * np.sqrt((spread**2).mean(axis=0)), 0.15)
        fitted[variant] = (mean, wide, noise, typical_x)
    return fitted


def fit_rises(runs: list[dict]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Coefficients, spread and error left of each issue class."""
    means, spreads, noises = [], [], []
    for k in range(rise.CLASSES):
        groups = []
        for run in runs:
            known = (run["which"] == k) & ~np.isnan(run["y"])
            if known.sum() > 30:
                groups.append((np.nan_to_num(run["x"][known]), run["y"][known]))
        mean, spread, noise = random_effects(groups, share=0.4)
        means.append(mean)
        spreads.append(spread)
        noises.append(noise)
    wide = np.maximum(SPREAD_FACTOR * np.sqrt((np.array(spreads) ** 2).mean(axis=0)), 0.3)
    return np.array(means), wide, np.array(noises)


def show(name: str, table: FloatArray) -> None:
    """A table as it stands in the module."""
    print(f"{name} = np.array(")
    print(np.array2string(np.round(table, 2), separator=", ", max_line_width=108, threshold=10**6))
    print(")")


def main(arguments: list[str]) -> int:
    folder = Path(arguments[0])
    stations = [
        measured(folder, "davos_2013-17", latitude=46.815, longitude=9.856),
        measured(folder, "tharandt_1998a", latitude=50.96, longitude=13.57),
    ]
    stations += [typical(path) for path in sorted(Path(arguments[1]).glob("*.epw"))] if arguments[1:] else []
    jobs = []
    for station in stations:
        days = (station.time_s[-1] - station.time_s[0]) / 86_400
        for start_day in (30, 240) if days > 350 else (5,):
            jobs.append((station, int(station.time_s[0]) + start_day * 86_400))
    print(f"{len(jobs)} stretches of {DAYS} days", file=sys.stderr)
    with ProcessPoolExecutor(2) as pool:
        futures = [pool.submit(lived_through, s, first, seed=k) for k, (s, first) in enumerate(jobs)]
        runs = [future.result() for future in futures]
    fitted = fit_nights([nights for nights, _ in runs])
    print("# night_prior.py")
    for name, part in (("COEFFICIENT", 0), ("SPREAD", 1), ("NOISE_C", 2), ("TYPICAL", 3)):
        show(name, np.array([fitted[variant][part] for variant in night_prior.VARIANTS]))
    print("# rise_prior.py")
    for name, table in zip(
        ("COEFFICIENT", "SPREAD", "NOISE_C"), fit_rises([r for _, r in runs]), strict=True
    ):
        show(name, table)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
