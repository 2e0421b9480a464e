"""Fits where the heat formula starts from, on invented weather and invented boxes only.

`python -m tests.bench.fit_priors > daemon/propstick/engine/heat_prior.py` writes the module anew; it
takes some minutes. Half of the worlds have skies of hours, half have one cover a day whose clouds pass
in 8 to 30 minutes; a third of the boxes hold little heat. Measured weather is never used here: it is
what the result is judged on.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
from tests.bench import day_worlds as worlds
from tests.bench.skill_minute import HORIZONS_MIN, held, moved, within

from propstick.engine.heat_ahead import past_suns
from propstick.engine.heat_features import Outlook, outlook_at, raw_features
from propstick.engine.observer import observe, start
from propstick.garden import Site
from propstick.simulation.frame import FrameSpec
from propstick.simulation.sky import clear_sky, through_cloud
from propstick.simulation.weather import Climate, Weather, invented
from propstick.units import FloatArray

BOXES, DAYS, BENDS = 16, 60, 24
PLACES = (
    (51.5, 0.0, "2025-02-20"), (43.0, 10.0, "2025-03-01"), (46.0, 2.0, "2024-08-25"),
    (40.0, -80.0, "2025-02-15"), (45.0, 5.0, "2025-03-05"), (56.0, 10.0, "2025-04-01"),
)  # fmt: skip
LIMITS_ABOVE_C = (0.35, 11.0)
EVERY_ROWS = 10
EPOCHS, BATCH, RATE = 12, 2048, 3e-3


def with_passing_clouds(weather: Weather, rng: np.random.Generator, linke: float) -> Weather:
    """One cover a day, and clouds of one depth that pass in some minutes."""
    n, days = len(weather), len(weather) // 1440 + 2
    cover = np.interp(np.arange(n) / 1440.0, np.arange(days) - 0.5, rng.uniform(0.02, 0.98, days))
    memory_min = float(rng.choice([8.0, 12.0, 20.0, 30.0]))
    change, draw = rng.random(n) < 1.0 / memory_min, rng.random(n) < cover
    latest = np.maximum.accumulate(np.where(change, np.arange(n), 0))
    cloud = np.where(draw[latest], 0.85, 0.05)
    beam, diffuse = clear_sky(weather.sun_elevation_deg, weather.time_s, linke=linke)
    up = np.sin(np.radians(weather.sun_elevation_deg))
    dni, dhi = through_cloud(beam, diffuse, up, cloud=cloud, cover=cover)
    ghi = dni * np.maximum(up, 0.0) + dhi
    return replace(weather, cloud=cloud, cover=cover, dni_w_m2=dni, dhi_w_m2=dhi, ghi_w_m2=ghi)


def world(number: int) -> worlds.World:
    """An invented garden."""
    rng = np.random.default_rng([77, number])
    latitude, longitude, first = PLACES[number % len(PLACES)]
    climate = Climate(
        year_mean_c=rng.uniform(8.0, 13.0), year_swing_c=rng.uniform(6.0, 12.0),
        wind_m_s=rng.uniform(1.5, 3.0), dryness_c=rng.uniform(3.0, 7.0), linke=rng.uniform(2.6, 4.2),
    )  # fmt: skip
    start_s = int(np.datetime64(first, "s").astype(int))
    weather = invented(latitude, longitude, start_s=start_s, days=DAYS, seed=number, climate=climate)
    if number % 2:
        weather = with_passing_clouds(weather, rng, climate.linke)
    specs = [FrameSpec.draw(1000 * number + k, name=f"box{k}") for k in range(BOXES)]
    for k in range(0, BOXES, 3):
        specs[k] = replace(
            specs[k], wall_j_k=specs[k].floor_m2 * rng.uniform(2e3, 9e3),
            leaves_j_m2k=rng.uniform(2500.0, 6000.0), pane_j_m2k=rng.uniform(1500.0, 4000.0),
        )  # fmt: skip
    site = Site(latitude=latitude, longitude=longitude, zone="UTC")
    return worlds.lived(weather, site, specs, seed=number)


def samples(made: worlds.World, seed: int, *, told: bool) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Features (k, F), what came (k, 3), and which answers count (k, 3), of invented limits."""
    rng = np.random.default_rng([5, seed, told])
    rows = made.rows if told else replace(made.rows, lid=np.full_like(made.rows.lid, np.nan))
    _, trace = observe(start(made.boxes), rows, made.site)
    at = np.flatnonzero((np.arange(len(rows)) % EVERY_ROWS == 0) & (trace.elevation_deg > 8.0))
    at = at[(at > 1440) & (at < len(rows) - 70)]
    outlook: Outlook = outlook_at(trace, at, past_suns(trace.sun, at, 60), made.site)
    low, high = np.log(LIMITS_ABOVE_C)
    limit = outlook.air5_c + np.exp(rng.uniform(low, high, outlook.air5_c.shape))
    stays, shifts = held(made.rows.air_c), moved(made.rows.lid)
    asked = outlook.usable & (made.rows.air_c[at] < limit)
    came = np.stack([within(stays, 1, h)[at] > limit for h in HORIZONS_MIN], axis=-1)
    counts = np.stack([within(shifts, 1, h + 5)[at] < 0.5 for h in HORIZONS_MIN], axis=-1)
    return raw_features(outlook, limit)[asked], came[asked].astype(float), counts[asked].astype(float)


def fitted(z: FloatArray, came: FloatArray, counts: FloatArray) -> tuple[FloatArray, ...]:
    """Weights of the bends, their offsets, and the coefficients of bends and features (Adam, log loss)."""
    rng = np.random.default_rng(0)
    z, came, counts = (a.astype(np.float32) for a in (z, came, counts))
    features = z.shape[1]
    weights = [
        rng.normal(0.0, features**-0.5, (features, BENDS)), np.zeros(BENDS),
        rng.normal(0.0, 0.3 * BENDS**-0.5, (BENDS, 3)), np.zeros((features, 3)),
    ]  # fmt: skip
    weights = [w.astype(np.float32) for w in weights]
    mean, square = [np.zeros_like(w) for w in weights], [np.zeros_like(w) for w in weights]
    step, total = 0, EPOCHS * (len(z) // BATCH)
    for _ in range(EPOCHS):
        order = rng.permutation(len(z))
        for first in range(0, len(z) - BATCH + 1, BATCH):
            some = order[first : first + BATCH]
            x = z[some]
            bend = np.tanh(x @ weights[0] + weights[1])
            score = np.clip(bend @ weights[2] + x @ weights[3], -30.0, 30.0)
            miss = counts[some] * (1.0 / (1.0 + np.exp(-score)) - came[some]) / BATCH
            back = (miss @ weights[2].T) * (1.0 - bend * bend)
            slopes = [x.T @ back, back.sum(axis=0), bend.T @ miss, x.T @ miss]
            step += 1
            for k, slope in enumerate(slopes):
                slope = slope + 1e-5 * weights[k]
                mean[k] = 0.9 * mean[k] + 0.1 * slope
                square[k] = 0.999 * square[k] + 0.001 * slope * slope
                grown = np.sqrt(square[k] / (1.0 - 0.999**step)) + 1e-8
                weights[k] -= RATE * (1.0 - step / (total + 1)) * mean[k] / (1.0 - 0.9**step) / grown
    return tuple(w.astype(float) for w in weights)


def lines_of(values: FloatArray, indent: str) -> str:
    """Figures to four digits, wrapped."""
    lines, line = [], indent
    for item in (f"{float(v):.4g}, " for v in values):
        if len(line) + len(item) > 107:
            lines.append(line.rstrip())
            line = indent
        line += item
    return "\n".join([*lines, line.rstrip()])


def module_text(centres: FloatArray, spreads: FloatArray, fit: tuple[FloatArray, ...]) -> str:
    """The module `heat_prior`."""
    bends, offsets, of_bends, of_features = fit

    def row(name: str, values: FloatArray) -> str:
        return f"{name} = (\n{lines_of(values, '    ')}\n)\n"

    def table(name: str, values: FloatArray) -> str:
        inner = "".join(f"    (\n{lines_of(v, '        ')}\n    ),\n" for v in values)
        return f"{name} = (\n{inner})\n"

    head = (
        '"""Where the heat formula starts from.\n\n'
        "Made by `python -m tests.bench.fit_priors` from invented weather and invented boxes, not from\n"
        "measured data; not to be edited by hand. Order: `heat_features.FEATURES`, then the bends.\n"
        '"""\n\n# fmt: off\n'
    )
    return (
        head
        + row("CENTRES", centres)
        + row("SPREADS", spreads)
        + '"""Mean and spread of each feature."""\n'
        + table("BENDS", bends.T)
        + '"""What each bend weighs of the standardised features."""\n'
        + row("BEND_OFFSETS", offsets)
        + table("COEFFICIENTS", np.concatenate([of_features, of_bends]).T)
        + '"""Of the standardised features and the bends, for 20, 30 and 60 minutes."""\n'
        + "# fmt: on\n"
    )


def main() -> int:
    parts = []
    for number in range(2 * len(PLACES)):
        made = world(number)
        parts += [samples(made, number, told=True), samples(made, number, told=False)]
        print(f"world {number}: {len(parts[-1][0])} samples", file=sys.stderr, flush=True)
    raw, came, counts = (np.concatenate([part[k] for part in parts]) for k in range(3))
    centres, spreads = raw.mean(axis=0), raw.std(axis=0) + 1e-3
    centres[0], spreads[0] = 0.0, 1.0
    z = np.clip((raw - centres) / spreads, -5.0, 5.0)
    print(module_text(centres, spreads, fitted(z, came, counts)), end="")
    return 0


if __name__ == "__main__":
    sys.exit(main())
