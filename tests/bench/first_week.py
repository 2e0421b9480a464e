"""The first seven days of new boxes, day by day: `python -m tests.bench.first_week [BOXES]`.

Nothing is known of a box but what the garden file says. Weather of New York 2013, never fitted to, begun
at several dates; every figure is over the same rows for every method. No humidity probe, lid told.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
from tests.bench import day_worlds as worlds
from tests.bench import skill_day, skill_minute

from propstick.engine import scores
from propstick.simulation.frame import FrameSpec
from propstick.units import BoolArray, FloatArray

DAYS = 7
STARTS = ("2013-02-20", "2013-03-25", "2013-04-25")
NIGHT_HOUR, DAY_CLASS = 2, 1
SHUT, AS_IS = 0, 3
BASE = "line + distance (base)"


def begun(boxes: int) -> list[worlds.World]:
    """A fresh garden at each station and date."""
    made = []
    for k, start in enumerate(STARTS):
        for j, station in enumerate(worlds.STATIONS):
            last = str(np.datetime64(start) + DAYS + 2)
            weather, site = worlds.new_york(station, first=start, last=last, seed=700 + 10 * k + j)
            specs = [FrameSpec.draw(30_000 + 100 * k + 10 * j + i, name=f"box{i}") for i in range(boxes)]
            keep = skill_day.day_issue_rows(site, weather.time_s)
            made.append(worlds.lived(weather, site, specs, seed=700 + 10 * k + j, keep=keep))
    return made


def outlooks(world: worlds.World) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """Night and day forecasts of one garden, each with the day (1 is the first) it was made on."""
    dry = np.full(len(world.rows), np.nan)
    rows = replace(world.rows, outside_humidity_pct=dry, humidity_pct=np.full(world.rows.air_c.shape, np.nan))
    nights, days = skill_day.forecast_world(rows, world.site, world.boxes, world=world)
    nights["number"] = nights["night"] - nights["night"].min() + 1
    days["number"] = days["day"] - days["day"].min() + 1
    return nights, days


def heats(world: worlds.World) -> dict[str, FloatArray]:
    """Chances of heat within half an hour, ours and the plain ones, and what came."""
    found, _ = skill_minute.forecast(world, told=True, skipped_days=0)
    counts = found.counts[1]
    first = world.rows.time_s[0] + int(240 * world.site.longitude)
    day = (found.time_s + int(240 * world.site.longitude)) // 86_400 - (first // 86_400)
    number = np.broadcast_to(day[:, None], counts.shape)
    return {
        "number": number[counts],
        "ours": found.chances["ours"][1][counts],
        "plain": found.chances[BASE][1][counts],
        "came": found.came[1][counts].astype(float),
    }


def better_plain(d: dict[str, FloatArray], here: BoolArray, names: tuple[str, ...]) -> tuple[str, float]:
    """The plain method with the smaller error on these rows; those that cannot answer yet are left out."""
    errors = {}
    for name in names:
        if not np.isnan(d[name][here]).any():
            errors[name] = scores.mean_absolute_error(d[name][here], d["came"][here])
    if not errors:
        return "none", float("nan")
    name = min(errors, key=lambda n: errors[n])
    return name, errors[name]


def line(d: dict[str, FloatArray], here: BoolArray, names: tuple[str, ...]) -> str:
    """Plain method, its error, ours, coverage and width over some rows."""
    here = here & ~np.isnan(d["ours"])
    if not here.any():
        return f"{'–':>9} {'–':>5} {'–':>5} {'–':>5} {'–':>5}"
    name, plain = better_plain(d, here, names)
    ours = scores.mean_absolute_error(d["ours"][here], d["came"][here])
    held = scores.coverage(d["low"][here] - 1e-9, d["high"][here] + 1e-9, d["came"][here])
    width = float((d["high"] - d["low"])[here].mean())
    worse = "!" if ours > plain else " "
    return f"{name:>9} {plain:5.2f} {ours:5.2f}{worse}{held:5.0%} {width:5.1f}"


def show(
    nights: dict[str, FloatArray], days: dict[str, FloatArray], heat: dict[str, FloatArray]
) -> list[str]:
    """The table, line by line; an exclamation mark where ours is worse than the plain method."""
    lines = [
        "day  night minimum, 2 h after sunset     maximum, shut, clear, sunrise + 1 h  lid as it stands"
        "                    heat in 30 min, Brier",
        "        plain   MAE  ours  holds width      plain   MAE  ours  holds width      plain   MAE  ours"
        "  holds width    plain   ours",
    ]
    for number in range(1, DAYS + 1):
        night = (nights["number"] == number) & (nights["hour"] == NIGHT_HOUR) & (nights["box"] >= 0)
        day = (days["number"] == number) & (days["k"] == DAY_CLASS) & (days["snow"] < 0.2)
        parts = [line(nights, night, ("mean_drop", "last_drop", "fao"))]
        for lid in (SHUT, AS_IS):
            parts.append(line(days, day & (days["lid"] == lid), ("base", "yesterday")))
        here = heat["number"] == number
        plain, ours = (scores.brier(heat[n][here], heat["came"][here]) for n in ("plain", "ours"))
        parts.append(f"{plain:.4f} {ours:.4f}{'!' if ours > plain else ' '}")
        lines.append(f"{number:3d}  " + "  ".join(parts))
    return lines


def main(arguments: list[str]) -> int:
    """Print the table."""
    nights, days, heat = [], [], []
    for world in begun(int(arguments[0]) if arguments else 4):
        night, day = outlooks(world)
        nights.append(night)
        days.append(day)
        heat.append(heats(world))
        print(f"{len(heat)} of {len(STARTS) * len(worlds.STATIONS)} gardens", file=sys.stderr, flush=True)
    print("New York 2013, boxes not known yet; MAE in °C, 90 % intervals, ! = ours is worse\n")
    print("\n".join(show(*(skill_day.joined(parts) for parts in (nights, days, heat)))))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
