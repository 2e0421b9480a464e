"""The engine against the time it takes just to read the same rows."""

from __future__ import annotations

import tempfile
from pathlib import Path
from time import perf_counter

import numpy as np
from tests.bench.season import START_S, STEP_S, garden, stored, values
from tests.bench.table import Figure, best_of

from propstick.blocks import Block
from propstick.engine.pipeline import advance, begin
from propstick.grid import lay
from propstick.times import DAY_S

DAYS = 180


def _season(*, boxes: int, foresight: bool) -> tuple[float, float, int]:
    """Seconds to read a season from SQLite into arrays; seconds of engine for the same rows; readings."""
    with tempfile.TemporaryDirectory() as folder:
        store, log, plot = stored(Path(folder), DAYS, boxes=boxes)
        begun = perf_counter()
        days = [
            log.columns((START_S + DAY_S * d) * 1000 + 1, (START_S + DAY_S * (d + 1)) * 1000 + 1)
            for d in range(DAYS)
        ]
        reading_s = perf_counter() - begun
        count = sum(len(day) for day in days)
        state = begin(plot, foresight=foresight)
        begun = perf_counter()
        for d, columns in enumerate(days):
            first_s = START_S + DAY_S * d + STEP_S
            block = lay(columns, step_s=STEP_S, first_row_s=first_s, rows=DAY_S // STEP_S)
            state, _ = advance(state, block, ())
        engine_s = perf_counter() - begun
        store.close()
    return reading_s, engine_s, count


def season() -> list[Figure]:
    reading_s, engine_s, count = _season(boxes=7, foresight=False)
    ratio = engine_s / reading_s
    said = f"{ratio:.2f} x ({engine_s:.1f} s against {reading_s:.1f} s, {count:,} readings)"
    return [Figure("season, 16 probes, quality and thresholds", "<= 1 x reading", said, ratio <= 1)]


def season_with_model() -> list[Figure]:
    reading_s, engine_s, count = _season(boxes=8, foresight=True)
    ratio = engine_s / reading_s
    said = f"{ratio:.2f} x ({engine_s:.1f} s against {reading_s:.1f} s, {count:,} readings)"
    return [Figure("season, 8 boxes, learning and every forecast", "<= 8 x reading", said, ratio <= 8)]


def live_row() -> list[Figure]:
    """One row of 18 probes and 8 boxes with all forecasts, after three days of history."""
    plot = garden(8)
    ids = tuple(p.id for p in plot.probes)
    table = np.round(values(4, len(ids)), 2)
    state = begin(plot)
    for d in range(3):
        rows = table[d * 1440 : (d + 1) * 1440]
        flags = np.zeros(rows.shape, dtype=np.uint16)
        first_s = START_S + DAY_S * d + STEP_S
        state, _ = advance(state, Block(first_s, STEP_S, ids, rows, flags), ())
    taken = []
    for k in range(1440):
        row = table[3 * 1440 + k]
        time_s = START_S + DAY_S * 3 + STEP_S * (k + 1)
        block = Block(time_s, STEP_S, ids, row[None], np.zeros((1, len(ids)), dtype=np.uint16))
        begun = perf_counter()
        state, _ = advance(state, block, ())
        taken.append(perf_counter() - begun)
    middle, worst = np.median(taken) * 1e3, np.quantile(taken, 0.99) * 1e3
    floor = best_of(5, lambda: np.linalg.solve(np.eye(200) + 0.1, np.ones(200))) * 1e3
    said = f"median {middle:.1f} ms, 99 % {worst:.1f} ms (a 200 x 200 solve: {floor:.2f} ms)"
    return [Figure("one live row, 8 boxes, all forecasts", "<= 20 ms", said, bool(worst <= 20))]
