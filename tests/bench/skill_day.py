"""Skill of the night and day forecasts: `python -m tests.bench.skill_day [DATA_FOLDER]`.

Boxes, clouds and dates never used for fitting: New York 2013 under simulated boxes, and, where the
folder of measured data is given, real enclosures. Every figure is over the same rows for every method.
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from tests.bench import day_worlds as worlds
from tests.bench.measured_sets import MEASURED, measured
from tests.bench.skill_day_tables import CEILING_HOUR, MEMBERS, print_days, print_nights

from propstick.engine import ceiling as ceilings
from propstick.engine import horizon, laying, observer, plain
from propstick.engine.day import PEAK_AFTER_NOON_S, outside_path_c
from propstick.engine.night import HOURS
from propstick.engine.nights import HOUR_S, daylight_of, night_ending_after, night_of
from propstick.engine.paths import moments_of
from propstick.engine.rise import issue_class, mean_rise_c
from propstick.garden import Box
from propstick.simulation.frame import FrameSpec
from propstick.times import days_from, local_date
from propstick.units import FloatArray

NIGHT_HOURS = tuple(range(-1, 13))
DAY_HOURS = (-0.5, 1.0, 3.0, 5.0)
OPENINGS = (0.0, 0.1, 1.0)


@dataclass
class NightRows:
    """One entry per box and issue; parallel lists."""

    hour: list[int] = field(default_factory=list)
    night: list[int] = field(default_factory=list)
    box: list[int] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    ours: list[float] = field(default_factory=list)
    mean_drop: list[float] = field(default_factory=list)
    last_drop: list[float] = field(default_factory=list)
    fao: list[float] = field(default_factory=list)
    p0: list[float] = field(default_factory=list)
    outside_error: list[float] = field(default_factory=list)
    came: list[float] = field(default_factory=list)
    ceiling: list[float] = field(default_factory=list)

    def arrays(self) -> dict[str, FloatArray]:
        return {name: np.array(values, dtype=float) for name, values in vars(self).items()}


@dataclass
class DayRows:
    """One entry per box, lid and issue; parallel lists."""

    k: list[int] = field(default_factory=list)
    day: list[int] = field(default_factory=list)
    lid: list[int] = field(default_factory=list)
    box: list[int] = field(default_factory=list)
    ours: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    base: list[float] = field(default_factory=list)
    yesterday: list[float] = field(default_factory=list)
    outside: list[float] = field(default_factory=list)
    outside_came: list[float] = field(default_factory=list)
    came: list[float] = field(default_factory=list)
    snow: list[float] = field(default_factory=list)
    ceiling: list[float] = field(default_factory=list)

    def arrays(self) -> dict[str, FloatArray]:
        return {name: np.array(values, dtype=float) for name, values in vars(self).items()}


def day_issue_rows(site, time_s: FloatArray) -> list[int]:
    """Rows at which the day forecast is judged: half an hour before sunrise, then 1, 3, 5 h after it."""
    rows = []
    for day in _dates(site, time_s):
        light = daylight_of(site, day)
        for hours in DAY_HOURS:
            issue_s = light.sunrise_s + hours * HOUR_S
            if hours <= 1 or issue_s <= light.noon_s:
                row = int(np.searchsorted(time_s, issue_s))
                if 0 < row < len(time_s):
                    rows.append(row)
    return rows


def ceiling_rows(site, time_s: FloatArray) -> dict[int, int]:
    """Rows two hours after sunset, at which the night's ceiling is worked out, and the rows to its end."""
    rows = {}
    for day in _dates(site, time_s):
        night = night_of(site, day)
        row = int(np.searchsorted(time_s, night.sunset_s + CEILING_HOUR * HOUR_S))
        last = int(np.searchsorted(time_s, night.end_s))
        if row > 0 and last < len(time_s):
            rows[row] = last - row
    return rows


def forecast_world(rows, site, boxes, *, world=None, with_model=True, day_truth=True, ceiling=None):
    """Feed the rows through the engine's parts; forecasts of nights and days beside what came."""
    b = rows.air_c.shape[1]
    time_s = rows.time_s
    step_s = int(np.median(np.diff(time_s)))
    state = horizon.start(b)
    watch = Watch(observer.start(boxes, step_s), ceilings.start_ceiling(b, laying.step_used_s(step_s)))
    nights, days = NightRows(), DayRows()
    issues: dict[int, str] = dict.fromkeys(day_issue_rows(site, time_s), "day") if day_truth else {}
    for day in _dates(site, time_s):
        night = night_of(site, day)
        for hour in NIGHT_HOURS:
            issue_s = night.sunset_s + hour * HOUR_S
            row = int(np.searchsorted(time_s, issue_s))
            if issue_s < night.sunrise_s - 1800 and 0 < row < len(time_s):
                issues[row] = "night"
    first = 0
    for row in [*sorted(issues), len(rows) - 1]:
        part = rows.cut(first, row + 1)
        first = row + 1
        share, moment, level = None, None, np.ones((ceilings.BINS, b))
        if with_model and len(part):
            watch, share, moment = follow_minutes(watch, part, site=site)
            level = watch.ceiling.level
        state = horizon.advance(state, part, site=site, sun_share=share)
        what = issues.get(row)
        if what == "night":
            _night(nights, state, rows, row, site, ceiling or {})
        elif what == "day":
            state = _day(days, state, rows, row, site, moment=moment, level=level, world=world)
    return nights.arrays(), days.arrays()


@dataclass(frozen=True)
class Watch:
    """The parts of the minute model that a day's forecast needs; no heat-ahead."""

    observer: observer.ObserverState
    ceiling: ceilings.CeilingState


def follow_minutes(watch: Watch, part, *, site):
    """The minute model over some rows: its state, each box's share of a clear sun, the moment at the end."""
    share, moment, first = np.full(part.air_c.shape, np.nan), None, 0
    days = (part.time_s - observer.learns_at_s(site)) // 86_400
    for stop in [*(np.flatnonzero(np.diff(days)) + 1).tolist(), len(part)]:
        seen, trace = observer.observe(watch.observer, part.cut(first, stop), site)
        sky, top = ceilings.ceiling_at(watch.ceiling, trace, site=site)
        watch = Watch(seen, ceilings.watch_ceiling(sky, trace, lid=trace.lid, step_s=seen.step_s))
        sunny = (trace.clear_sky_w_m2 > 80.0)[:, None] & trace.known
        real = trace.index >= 0
        share[first + trace.index[real]] = np.where(sunny, trace.sun / np.maximum(top, 0.1), np.nan)[real]
        moment = moments_of(trace, np.array([len(trace) - 1])) if len(trace) else moment
        first = stop
    return watch, share, moment


def _night(out: NightRows, state, rows, row: int, site, ceiling: dict[int, FloatArray]) -> None:
    night = night_ending_after(site, state.row_s)
    forecast = horizon.night_minimum(state, site=site)
    last = int(np.searchsorted(rows.time_s, night.end_s))
    hour = night.issue_hour(state.row_s)
    record, h = state.night.plain, min(max(hour + 1, 0), HOURS - 1)
    now = forecast.now_c
    columns = (
        plain.mean_drop_c(record, h, now),
        plain.last_drop_c(record, h, now),
        plain.fao_c(record, h, now),
    )
    p0 = forecast.p_below(0.0)
    outside = rows.outside_air_c[row : last + 1]
    outside_error = forecast.min_c[-1] - (np.nanmin(outside) if (~np.isnan(outside)).any() else np.nan)
    for box in range(len(now)):
        air = rows.outside_air_c if box == len(now) - 1 else rows.air_c[:, box]
        span = air[row : last + 1]
        known = ~np.isnan(span)
        if last >= len(rows) or known.mean() < 0.9 or np.isnan(now[box]):
            continue
        if box < len(now) - 1:
            lid = rows.lid[row : last + 1, box]
            at = int(np.nanargmin(span))
            if np.nan_to_num(np.abs(lid[: at + 1] - lid[0]).max()) > 0.05:
                continue
        out.hour.append(hour)
        out.night.append(state.night.nights)
        out.box.append(box if box < len(now) - 1 else -1)
        out.low.append(forecast.low_c[box])
        out.high.append(forecast.high_c[box])
        out.ours.append(forecast.min_c[box])
        for name, column in zip(("mean_drop", "last_drop", "fao"), columns, strict=True):
            getattr(out, name).append(column[box])
        out.p0.append(p0[box])
        out.outside_error.append(outside_error)
        out.came.append(float(np.nanmin(span)))
        best = ceiling.get(row)
        out.ceiling.append(float("nan") if best is None or box == len(now) - 1 else best[box])


def _day(out: DayRows, state, rows, row: int, site, *, moment, level, world):
    today = daylight_of(site, local_date(state.row_s, site.zone))
    state, forecast = horizon.day_maximum(state, site=site, moment=moment, ceiling=level)
    stop = int(np.searchsorted(rows.time_s, today.sunset_s))
    if stop >= len(rows):
        return state
    k = issue_class(today, state.row_s)
    day_number = int(state.row_s // 86_400)
    outside_came = float(np.nanmax(rows.outside_air_c[row:stop]))
    best = plain.best_lift_c(state.day.lift_c)
    base = rows.outside_air_c[max(row - 14, 0) : row + 1].mean() + mean_rise_c(state.day.rise, k) + best
    back = rows.air_c[max(row - 1440, 0) : row]
    yesterday = back.max(axis=0) if len(back) else np.full(rows.air_c.shape[1], np.nan)
    truth, best_possible = None, None
    if world is not None and row in world.states:
        truth = worlds.clear_truth_c(world, row, openings=OPENINGS, minutes=stop - row)
        if k == 1:
            now_c = float(rows.outside_air_c[max(row - 14, 0) : row + 1].mean())
            path = outside_path_c(
                rows.time_s[row:stop].astype(float), now_c, forecast.outside_max_c - now_c,
                start_s=max(state.row_s, today.sunrise_s), peak_s=today.noon_s + PEAK_AFTER_NOON_S,
            )  # fmt: skip
            best_possible = worlds.clear_truth_c(
                world, row, openings=OPENINGS, minutes=stop - row, outside_c=path
            )
    snow = np.zeros(rows.air_c.shape[1])
    if world is not None and row in world.states:
        snow = world.states[row].snow_kg_m2
    for lid in range(4):
        if truth is None and lid < 3:
            continue
        for box in range(rows.air_c.shape[1]):
            came = float(np.nanmax(rows.air_c[row:stop, box])) if lid == 3 else truth[lid, box]
            if lid == 3 and np.nan_to_num(np.abs(np.diff(rows.lid[row:stop, box])).max()) > 0.05:
                continue
            out.k.append(k)
            out.day.append(day_number)
            out.lid.append(lid)
            out.box.append(box)
            out.ours.append(forecast.max_c[lid, box])
            out.low.append(forecast.low_c[lid, box])
            out.high.append(forecast.high_c[lid, box])
            out.base.append(base[box])
            out.yesterday.append(yesterday[box])
            out.outside.append(forecast.outside_max_c)
            out.outside_came.append(outside_came)
            out.came.append(came)
            out.snow.append(snow[box])
            known = best_possible is not None and lid < 3
            out.ceiling.append(best_possible[lid, box] if known else float("nan"))
    return state


def _dates(site, time_s):
    return days_from(local_date(float(time_s[0]), site.zone), local_date(float(time_s[-1]), site.zone))


def joined(parts: list[dict[str, FloatArray]]) -> dict[str, FloatArray]:
    """Tables laid end to end, column by column."""
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


def station(name: str, seed: int) -> tuple[dict[str, FloatArray], ...]:
    """Nights with humidity outside, nights without, and days of six boxes at an airport of New York."""
    weather, site = worlds.new_york(name, first="2013-02-01", last="2013-05-31", seed=seed)
    specs = [FrameSpec.draw(1000 * seed + k) for k in range(6)]
    dusk = ceiling_rows(site, weather.time_s)
    keep = [*day_issue_rows(site, weather.time_s), *dusk]
    world = worlds.lived(weather, site, specs, seed=seed, keep=keep)
    ceiling = {
        row: worlds.oracle_minimum_c(world, row, minutes=minutes, members=MEMBERS, seed=row)
        for row, minutes in dusk.items()
    }
    print(f"{name} lived through", file=sys.stderr, flush=True)
    nights, days = forecast_world(world.rows, site, world.boxes, world=world, ceiling=ceiling)
    unknown = np.full(len(world.rows), np.nan)
    rows = replace(
        world.rows, outside_humidity_pct=unknown, humidity_pct=np.full_like(world.rows.air_c, np.nan)
    )
    dry, _ = forecast_world(rows, site, world.boxes, with_model=False, day_truth=False, ceiling=ceiling)
    return nights, dry, days


def main(arguments: list[str]) -> int:
    if arguments:
        for name, site in MEASURED.items():
            rows = measured(Path(arguments[0]), name, site=site)
            boxes = tuple(Box(name=f"box{k}") for k in range(rows.air_c.shape[1]))
            found, _ = forecast_world(rows, site, boxes, with_model=False, day_truth=False)
            if not boxes:  # the open ground alone
                found["box"] = found["box"] + 1
            print_nights(f"{name}, measured", found)
        return 0
    with ProcessPoolExecutor() as pool:
        found = list(pool.map(station, *zip(("EWR", 1), ("LGA", 2), ("JFK", 3), strict=True)))
    nights, dry, days = ([one[k] for one in found] for k in range(3))
    print_nights("New York 2013, simulated boxes, no humidity probe", joined(dry))
    print_nights("New York 2013, simulated boxes, humidity outside", joined(nights))
    print_days("New York 2013, simulated boxes", joined(days))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
