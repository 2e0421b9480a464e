"""Was a bed watered? Its soil probe leaves the line it was on, or its moisture probe leaps.

Soil moves along a line for half an hour at a time, even under broken cloud; water of another warmth that
runs down to the probe breaks it within minutes. How far a bed leaves its line on its worst days differs
from bed to bed (a shallow probe feels every cloud), and is learnt. Water as warm as the bed shows in a
moisture probe only.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from propstick.blocks import PlaceRows
from propstick.engine.telling_days import is_met, no_days, put
from propstick.units import BoolArray, FloatArray, IntArray

WET_S = 6 * 3600
"""A watered bed is known less surely for so long: its surface dries. Common practice, no source."""
LEAST_JUMP_C, JUMP_TIMES = 0.45, 2.0
"""Off its line, and off where it was, by this much; and off its line so many times as far as it went in the
last week. Set on invented boxes; `tests.bench.upsets` measures them on others."""
LEAST_LEAP_PCT = 6.0
"""What a moisture probe gains in half an hour only from water. Common practice, no source."""
_MEAN_MIN, _STEP_MIN, _LINE_MIN = 3, 8, 20
_JUDGED_STEP_S = 600


@dataclass(frozen=True)
class WaterWatch:
    """What is remembered from row to row; b boxes.

    Attributes:
        time_s: The last rows, (k,); 0 before the first.
        soil_c, moisture_pct: At those rows, (k, b).
        jump_c: The furthest soil was off its line today, wet hours apart, (b,).
        jumps_c: The same of past days, (7, b).
        watered_s: When each bed was last watered, (b,).
    """

    time_s: IntArray
    soil_c: FloatArray
    moisture_pct: FloatArray
    jump_c: FloatArray
    jumps_c: FloatArray
    watered_s: IntArray

    def wet(self, time_s: IntArray) -> BoolArray:
        """Whether each bed is wet from before at those rows, (n, b)."""
        return time_s[:, None] - self.watered_s < WET_S

    @property
    def was_wet(self) -> BoolArray:
        """The same at the last row that was looked at, (b,)."""
        last = self.time_s[-1] if len(self.time_s) else 0
        return last - self.watered_s < WET_S


def start_water(boxes: int, step_s: int) -> WaterWatch:
    """Nothing seen yet, on rows so far apart [s]."""
    tail = sum(_lags(step_s)) if step_s <= _JUDGED_STEP_S else 0
    blank = np.full((tail, boxes), np.nan)
    return WaterWatch(
        time_s=np.zeros(tail, dtype=np.int64),
        soil_c=blank,
        moisture_pct=blank.copy(),
        jump_c=np.zeros(boxes),
        jumps_c=no_days(boxes),
        watered_s=np.full(boxes, -WET_S, dtype=np.int64),
    )


def next_day(watch: WaterWatch) -> WaterWatch:
    """How far the soil was off its line goes on record."""
    jump = np.where(watch.jump_c > 0.0, watch.jump_c, np.nan)
    return replace(watch, jumps_c=put(watch.jumps_c, jump), jump_c=np.zeros_like(jump))


def look_for_water(watch: WaterWatch, rows: PlaceRows, *, step_s: int) -> tuple[WaterWatch, BoolArray]:
    """The watch after some rows, and whether each bed was watered within some hours, (n, b)."""
    tail, n = len(watch.time_s), len(rows)
    if not tail or not n:
        return watch, watch.wet(rows.time_s)
    time_s = np.concatenate([watch.time_s, rows.time_s])
    soil = np.concatenate([watch.soil_c, rows.soil_c])
    moisture = np.concatenate([watch.moisture_pct, rows.moisture_pct])
    mean_rows, step, line = _lags(step_s)
    mean = soil[mean_rows - 1 :].copy()
    for lag in range(1, mean_rows):  # spelt out: a running sum would round differently at every cut
        mean += soil[mean_rows - 1 - lag : len(soil) - lag]
    mean /= mean_rows
    now, end, start = (mean[len(mean) - n - lag : len(mean) - lag] for lag in (0, step, step + line))
    whole = (rows.time_s - time_s[:n] == tail * step_s)[:, None]
    off_line = np.where(whole, np.abs(now - end - (end - start) * (step / line)), np.nan)
    most = np.fmax.reduce(watch.jumps_c, axis=0)
    limit = np.where(is_met(watch.jumps_c), np.maximum(LEAST_JUMP_C, JUMP_TIMES * most), np.inf)
    jumps = (off_line >= limit) & (np.abs(now - end) >= LEAST_JUMP_C)
    leaps = (rows.moisture_pct - moisture[:n] >= LEAST_LEAP_PCT) & whole
    event_s = np.where(jumps | leaps, rows.time_s[:, None], np.int64(-WET_S))
    watered_s = np.maximum(np.maximum.accumulate(event_s, axis=0), watch.watered_s)
    wet = rows.time_s[:, None] - watered_s < WET_S
    dry_jump = np.where(wet | np.isnan(off_line), 0.0, off_line)
    watch = WaterWatch(
        time_s=time_s[n:].copy(),
        soil_c=soil[n:].copy(),
        moisture_pct=moisture[n:].copy(),
        jump_c=np.maximum(watch.jump_c, dry_jump.max(axis=0)),
        jumps_c=watch.jumps_c,
        watered_s=watered_s[-1].copy(),
    )
    return watch, wet


def _lags(step_s: int) -> tuple[int, int, int]:
    """Rows of the mean, of the step that is looked at, and of the line before it."""
    mean, step, line = (max(1, round(60 * minutes / step_s)) for minutes in (_MEAN_MIN, _STEP_MIN, _LINE_MIN))
    return mean, step, line
