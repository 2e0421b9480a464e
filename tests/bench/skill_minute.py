"""Skill of heat-ahead, lid-loose and what-if: `python -m tests.bench.skill_minute [BOXES] [DAYS]`.

Weather of New York 2013 over boxes drawn afresh: neither was ever fitted to. Every figure of a table is
over the same rows for every method. The oracle knows the true box, its true state and the true present
weather, and lets the clouds go on as they might (other stretches of the same weather that began alike).
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

import numpy as np
from tests.bench import day_worlds as worlds

from propstick.engine import laying, minute
from propstick.engine.heat_ahead import RAISE_AT
from propstick.engine.heat_plain import HORIZONS_MIN, distance_chances, line_chances
from propstick.engine.observer import Trace
from propstick.engine.what_if import what_if
from propstick.physics.sun import solar_position
from propstick.simulation.frame import FrameSpec
from propstick.simulation.garden import Garden
from propstick.simulation.sky import clear_sky, through_cloud
from propstick.units import BoolArray, FloatArray, IntArray

LIMIT_C = 27.0
HELD_ROWS = 5
SKIPPED_DAYS = 3
ORACLE_NEAR_C = 6.0
ORACLE_EVERY_S = 1800
MEMBERS = 12


@dataclass(frozen=True)
class Rows:
    """Forecasts of one world at its issues, (m, b), and what came."""

    row: IntArray
    time_s: IntArray
    chances: dict[str, tuple[FloatArray, ...]]
    came: tuple[BoolArray, ...]
    counts: tuple[BoolArray, ...]
    gap_c: FloatArray


def held(air_c: FloatArray) -> FloatArray:
    """Least of the five readings that begin at each row."""
    least = air_c.copy()
    for k in range(1, HELD_ROWS):
        least[:-k] = np.fmin(least[:-k], air_c[k:])
    return least


def within(values: FloatArray, first: int, last: int) -> FloatArray:
    """Largest value from `first` to `last` rows ahead."""
    most = np.full(values.shape, -np.inf)
    for k in range(first, last + 1):
        most[: len(values) - k] = np.maximum(most[: len(values) - k], values[k:])
    return most


def moved(lid: FloatArray) -> FloatArray:
    """1 where the lid was moved, else 0."""
    return (np.abs(np.diff(lid, axis=0, prepend=lid[:1])) > 0.02).astype(float)


def plain(trace: Trace, rows: IntArray) -> dict[str, tuple[FloatArray, ...]]:
    """Chances by distance alone, by a straight line as yes or no, and by line and distance."""
    gap = LIMIT_C - trace.air5_c[rows]
    slope = np.nan_to_num(trace.slope10[rows])
    return {
        "distance": tuple(distance_chances(gap)),
        "straight line, yes or no": tuple((gap <= h * slope).astype(float) for h in HORIZONS_MIN),
        "line + distance (base)": tuple(line_chances(gap, slope)),
    }


def forecast(
    world: worlds.World, *, told: bool, skipped_days: int = SKIPPED_DAYS
) -> tuple[Rows, minute.Minutes]:
    """Our forecasts and the plain ones over a world, after its first days."""
    rows = world.rows if told else replace(world.rows, lid=np.full_like(world.rows.lid, np.nan))
    state, parts = minute.begin(world.boxes), []
    for first in range(0, len(rows), 1440):
        state, part = minute.follow(
            state, rows.cut(first, first + 1440), limit_c=np.full(len(world.boxes), LIMIT_C),
            boxes=world.boxes, site=world.site,
        )  # fmt: skip
        parts.append((first, part))
    whole = minute.joined(parts)
    ahead = whole.ahead
    kept = (ahead.row > skipped_days * 1440) & (ahead.row < len(rows) - 70)
    row = ahead.row[kept]
    air = world.rows.air_c
    stays, shifts = held(air), moved(world.rows.lid)
    below = (air[row] < LIMIT_C) & ~np.isnan(ahead.p30[kept])
    chances = {"ours": tuple(np.nan_to_num(p[kept]) for p in (ahead.p20, ahead.p30, ahead.p60))}
    return Rows(
        row=row,
        time_s=ahead.time_s[kept],
        chances=chances | plain(whole.trace, row),
        came=tuple(within(stays, 1, h)[row] > LIMIT_C for h in HORIZONS_MIN),
        counts=tuple(below & (within(shifts, 1, h + HELD_ROWS)[row] < 0.5) for h in HORIZONS_MIN),
        gap_c=LIMIT_C - whole.trace.air5_c[row],
    ), whole


def warned(
    row: IntArray, chance: FloatArray, air_c: FloatArray, lid: FloatArray, at: float
) -> list[FloatArray]:
    """Lead of each usable crossing [min, 0 = none], and false warnings, over all boxes."""
    leads, false = [], 0
    for box in range(air_c.shape[1]):
        over = np.flatnonzero(held(air_c[:, box : box + 1])[:, 0] > LIMIT_C)
        starts = over[np.diff(over, prepend=-100) > 60]
        shift = np.flatnonzero(moved(lid[:, box : box + 1])[:, 0])
        hot = row[chance[:, box] >= at]
        for start in starts[(starts > SKIPPED_DAYS * 1440) & (starts > 60)]:
            if np.any((shift > start - 60) & (shift <= start)) or np.any(
                (over >= start - 60) & (over < start)
            ):
                continue
            early = hot[(hot >= start - 60) & (hot < start)]
            leads.append(start - early[0] if len(early) else 0)
        spells = hot[np.diff(hot, prepend=-1000) > 60]
        for issued in spells:
            disturbed = np.any((shift > issued) & (shift <= issued + 60))
            false += not disturbed and not np.any((over >= issued) & (over <= issued + 60))
    return [np.array(leads), np.array([false])]


def oracle(world: worlds.World, rows: Rows, seed: int) -> tuple[BoolArray, FloatArray]:
    """Chance within 30 min at some issues from the true state, and which issues these are, (m,), (m, b).

    Needs the world's true states at those rows.
    """
    rng = np.random.default_rng(seed)
    near = ((rows.gap_c > 0.0) & (rows.gap_c < ORACLE_NEAR_C) & rows.counts[1]).any(axis=1)
    chosen = near & (rows.time_s % ORACLE_EVERY_S == 0) & np.isin(rows.row + 1, list(world.states))
    chance = np.zeros(rows.gap_c.shape)
    weather = world.weather
    lit = np.flatnonzero(weather.sun_elevation_deg > 5.0)[:-60]
    for at in np.flatnonzero(chosen):
        row = int(rows.row[at])
        alike = lit[
            (np.abs(weather.cover[lit] - weather.cover[row]) < 0.1)
            & (np.abs(weather.cloud[lit] - weather.cloud[row]) < 0.15)
        ]
        came = np.zeros(len(world.specs))
        for other in rng.choice(alike, MEMBERS) if len(alike) else [row] * MEMBERS:
            came += _goes_over(world, row, int(other))
        chance[at] = came / MEMBERS
    return chosen, chance


def _goes_over(world: worlds.World, row: int, other: int) -> FloatArray:
    """Whether each box passes the limit in 30 min with the clouds of another stretch, all else frozen."""
    ahead = worlds.cut(world.weather, row + 1, row + 36)
    cloud = world.weather.cloud[other + 1 : other + 1 + len(ahead)]
    beam, diffuse = clear_sky(ahead.sun_elevation_deg, ahead.time_s)
    up = np.maximum(np.sin(np.radians(ahead.sun_elevation_deg)), 0.0)
    cover = np.full(len(ahead), world.weather.cover[row])
    dni, dhi = through_cloud(beam, diffuse, up, cloud=cloud, cover=cover)
    frozen = {name: np.full(len(ahead), getattr(world.weather, name)[row]) for name in ("air_c", "wind_m_s")}
    ahead = replace(ahead, dni_w_m2=dni, dhi_w_m2=dhi, ghi_w_m2=dni * up + dhi, **frozen)
    garden = Garden(ahead, world.specs)
    garden.state = world.states[row + 1]
    lid = world.rows.lid[row]
    path = []
    for _ in range(len(ahead)):
        garden.advance(lid, np.zeros_like(lid))
        path.append(garden.state.air_c)
    return (held(np.array(path))[:30] > LIMIT_C).any(axis=0)


def night_lids(world: worlds.World, whole: minute.Minutes) -> dict[str, tuple[int, int]]:
    """Closed nights with a false alarm, and opened nights found, by opening."""
    elevation, _ = solar_position(world.rows.time_s, world.site.latitude, world.site.longitude)
    dark = elevation < -2.0
    night = (world.rows.time_s + int(240 * world.site.longitude) - 43_200) // 86_400
    loose = np.zeros(world.rows.lid.shape, dtype=bool)
    loose[whole.trace.index] = whole.openings.loose
    counts = {name: [0, 0] for name in ("closed", "0.1", "0.3", "1.0")}
    for which in np.unique(night)[SKIPPED_DAYS:]:
        here = (night == which) & dark
        if here.sum() < 300:
            continue
        for box in range(loose.shape[1]):
            lid = world.rows.lid[here, box]
            name = "closed" if lid.max() == 0.0 else f"{lid.max():.1f}"
            counts[name][0] += bool((loose[here, box] & (lid == lid.max())).any())
            counts[name][1] += 1
    return {name: tuple(count) for name, count in counts.items()}


def brier(chance: FloatArray, came: BoolArray, counts: BoolArray) -> float:
    """Mean squared error of a probability over the rows that count."""
    return float(((chance - came)[counts] ** 2).mean())


def show_heat(title: str, made: list[tuple[worlds.World, Rows]], *, with_oracle: bool) -> None:
    """Print one table."""
    box_weeks = sum(len(w.rows) / 10_080 * len(w.specs) for w, _ in made)
    print(f"\n{title}: {box_weeks:.0f} box-weeks, limit {LIMIT_C} °C")
    print(
        "| method | Brier 20 | Brier 30 | Brier 60 "
        "| ≥10 / ≥20 min at ≤ 1 false a box-week | false | crossings |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for name in made[0][1].chances:
        scores = []
        for k in range(3):
            parts = [(r.chances[name][k][r.counts[k]], r.came[k][r.counts[k]]) for _, r in made]
            scores.append(
                float(
                    np.mean(
                        (np.concatenate([p for p, _ in parts]) - np.concatenate([c for _, c in parts])) ** 2
                    )
                )
            )
        best = None
        for at in (RAISE_AT, *np.arange(0.1, 0.95, 0.05)) if name == "ours" else np.arange(0.1, 0.95, 0.05):
            told = [warned(r.row, r.chances[name][1], w.rows.air_c, w.rows.lid, at) for w, r in made]
            lead = np.concatenate([t[0] for t in told])
            false = float(sum(t[1][0] for t in told)) / box_weeks
            if name == "ours" and at == RAISE_AT:
                print(f"|   ours at p ≥ {RAISE_AT} | | | | {_shares(lead)} | {false:.2f} | {len(lead)} |")
            if false <= 1.0 and (best is None or (lead >= 10).mean() > (best[0] >= 10).mean()):
                best = (lead, false)
        said = ("–", "–", "–") if best is None else (_shares(best[0]), f"{best[1]:.2f}", len(best[0]))
        print(
            f"| {name} | {scores[0]:.4f} | {scores[1]:.4f} | {scores[2]:.4f} "
            f"| {said[0]} | {said[1]} | {said[2]} |"
        )
    if not with_oracle:
        return
    ours, base, top = [], [], []
    for seed, (world, rows) in enumerate(made):
        chosen, chance = oracle(world, rows, seed)
        counts = rows.counts[1][chosen] & (rows.gap_c[chosen] > 0.0) & (rows.gap_c[chosen] < ORACLE_NEAR_C)
        came = rows.came[1][chosen][counts]
        for errors, said in (
            (ours, rows.chances["ours"][1][chosen]),
            (base, rows.chances["line + distance (base)"][1][chosen]),
            (top, chance[chosen]),
        ):
            errors.append((said[counts] - came) ** 2)
        # Few members make the oracle look worse than it is by the variance of their mean.
        few = chance[chosen][counts]
        top[-1] = top[-1] - few * (1.0 - few) / (MEMBERS - 1)
    b, o, t = (float(np.concatenate(e).mean()) for e in (base, ours, top))
    n = sum(len(e) for e in ours)
    print(
        f"Brier 30 within {ORACLE_NEAR_C:.0f} °C, {n} forecasts: "
        f"base {b:.4f}, ours {o:.4f}, oracle {t:.4f}; way {(b - o) / (b - t):.0%}"
    )


def _shares(lead: FloatArray) -> str:
    return f"{(lead >= 10).mean():.2f} / {(lead >= 20).mean():.2f}" if len(lead) else "–"


def what_if_errors(world: worlds.World, trace: Trace) -> list[tuple[float, float, bool]]:
    """Open nights closed after the fact, against the same night really closed.

    Our error, that of "no change" [°C], and whether the interval held, of each.
    """
    found = []
    day_rows = np.flatnonzero(np.isin(np.arange(len(world.rows)), list(world.states)))
    elevation, _ = solar_position(world.rows.time_s, world.site.latitude, world.site.longitude)
    for row in day_rows:
        night = slice(row, row + 840)
        if not (
            elevation[row] > 5.0 and elevation[min(row + 120, len(elevation) - 1)] < 2.0
        ) or row + 900 > len(world.rows):
            continue
        garden = Garden(worlds.cut(world.weather, row, row + 840), world.specs)
        garden.state = world.states[row]
        closed = np.zeros(len(world.specs))
        truth = []
        for _ in range(840):
            garden.advance(closed, closed)
            truth.append(garden.state.air_c)
        lowest = np.array(truth).min(axis=0)
        for box in range(len(world.specs)):
            if world.rows.lid[night, box].min() < 0.05:
                continue
            part = Trace(**{n: getattr(trace, n)[night] for n in Trace.__dataclass_fields__})
            answer = what_if(part, box, at_s=int(world.rows.time_s[row]), opening=0.0)
            if answer is not None:
                true_c = lowest[box]
                holds = bool(answer.low_c <= true_c <= answer.high_c)
                found.append((answer.min_c - true_c, answer.observed_min_c - true_c, holds))
    return found


def show_what_if(found: list[tuple[float, float, bool]]) -> None:
    """Print one line."""
    error, none, holds = (np.array(values, dtype=float) for values in zip(*found, strict=True))
    print(
        f"\nwhat-if, closing an open night: {len(error)} nights, "
        f"no change MAE {np.abs(none).mean():.2f}, ours {np.abs(error).mean():.2f} "
        f"(bias {error.mean():+.2f}, interval holds {holds.mean():.0%})"
    )


def main(arguments: list[str]) -> int:
    boxes, days = (int(a) for a in [*arguments, *("5", "45")[len(arguments) :]])
    made, unknown, lids, nights = [], [], {}, []
    for k, station in enumerate(worlds.STATIONS):
        last = np.datetime64("2013-03-15") + days
        weather, site = worlds.new_york(station, first="2013-03-15", last=str(last), seed=300 + k)
        specs = [FrameSpec.draw(9000 + 100 * k + i, name=f"box{i}") for i in range(boxes)]
        keep = np.flatnonzero((weather.sun_elevation_deg > 3.0) & (weather.time_s % ORACLE_EVERY_S == 60))
        world = worlds.lived(weather, site, specs, seed=400 + k, keep=keep.tolist())
        rows, whole = forecast(world, told=True)
        made.append((world, rows))
        blind, seen = forecast(world, told=False)
        unknown.append((world, blind))
        for name, (found, of) in night_lids(world, seen).items():
            before = lids.get(name, (0, 0))
            lids[name] = (before[0] + found, before[1] + of)
        nights += what_if_errors(world, whole.trace)
    show_heat("Heat, lid told", made, with_oracle=True)
    show_heat("Heat, lid never told", unknown, with_oracle=True)
    print("\nlid-loose, lid never told: " + ", ".join(f"{k}: {f} of {n}" for k, (f, n) in lids.items()))
    if nights:
        show_what_if(nights)
    print(f"rows worked on every {laying.step_used_s(60)} s")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
