"""What is noticed when something befalls a box, and what is said of boxes left alone.

`python -m tests.bench.upsets [FOLDER [SEED ...]]`: drawn boxes under invented weather and, where the folder
of measured data is given, under that of its stations, through the whole engine; then its measured enclosures.
Limits in `engine/watering.py`, `dimmed.py` and `night_share.py` were set on seeds 1 to 6; 7 and on judge.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import dataclass, field, fields
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
from tests.bench import measured_sets
from tests.bench import upset_worlds as worlds

from propstick.blocks import Block, PlaceRows
from propstick.engine import upsets
from propstick.engine.pipeline import advance, begin
from propstick.engine.schedule import day_of
from propstick.garden import Box, Garden, Probe, Site, Sowing
from propstick.times import local_date
from propstick.units import BoolArray

SEEDS = (7, 8, 9)
WEEK_S, ROW_S = 7 * 86_400, 60
PIECE_ROWS = 360
LOOKED_AT = ("probe-disagrees", "lid-loose", "no-shelter", "probe-jump", "probe-stuck")
BEFORE_S = 6 * 3600
SETS = {
    "toolik_block3_2023-24": measured_sets.MEASURED["toolik_block3_2023-24"],
    "toolik_block1_2025": measured_sets.MEASURED["toolik_block1_2025"],
    "rmbl_gna_2018": measured_sets.MEASURED["rmbl_gna_2018"],
    "rmbl_bb_2018": measured_sets.MEASURED["rmbl_gna_2018"],
    "rmbl_gna_2019": measured_sets.MEASURED["rmbl_gna_2018"],
    "aalborg_cavity_a": Site(latitude=57.05, longitude=9.93, zone="Europe/Copenhagen"),
    "italy_tunnel1_2021-23": Site(latitude=45.0, longitude=12.0, zone="Europe/Rome"),
}


@dataclass
class Said:
    """What was said of each box of a world: UTC seconds by box and what."""

    world: worlds.World
    at_s: dict[tuple[str, str], list[int]] = field(default_factory=lambda: defaultdict(list))

    def first_h(self, box: str, what: str) -> float:
        """Hours from the upset to the first time; NaN: never."""
        upset_s = int(self.world.rows.time_s[self.world.upset_row])
        after = [t - upset_s for t in self.at_s[box, what] if t >= upset_s - BEFORE_S]
        return min(after, default=float("nan")) / 3600.0


def garden_of(world: worlds.World) -> Garden:
    """The garden file of a world: contacts where lids are told."""
    shown = ~np.isnan(world.rows.lid).all(axis=0)
    names = [box.name for box in world.boxes]
    places = [(name, place) for name in names for place in ("air", "soil")]
    places += [(name, "lid") for name, is_shown in zip(names, shown, strict=True) if is_shown]
    places += [("outside", "air"), ("outside", "soil")]
    return Garden(
        site=world.site,
        boxes=world.boxes,
        probes=tuple(Probe(id=f"{box}.{place}", box=box, place=place) for box, place in places),
        sowings=tuple(Sowing(id=name, box=name) for name in names),
    )


def watched(world: worlds.World) -> Said:
    """A world through the whole engine, six hours at a time."""
    garden = garden_of(world)
    rows, names = world.rows, [box.name for box in world.boxes]
    column = {"outside.air": rows.outside_air_c, "outside.soil": rows.outside_soil_c}
    for b, name in enumerate(names):
        column |= {
            f"{name}.air": rows.air_c[:, b],
            f"{name}.soil": rows.soil_c[:, b],
            f"{name}.lid": rows.lid[:, b],
        }
    ids = tuple(probe.id for probe in garden.probes)
    values = np.stack([column[probe] for probe in ids], axis=1)
    state, said = begin(garden), Said(world)
    for first in range(0, len(values), PIECE_ROWS):
        part = values[first : first + PIECE_ROWS]
        block = Block(int(rows.time_s[first]), ROW_S, ids, part, np.zeros(part.shape, dtype=np.uint16))
        state, came = advance(state, block)
        for brief in came.briefs:
            for line in brief.lines:
                said.at_s[line.box, "brief"].append(brief.issued_s)
                said.at_s[line.box, f"advice {line.advice}"].append(brief.issued_s)
                if "less surely" in line.reason:
                    said.at_s[line.box, "unsure"].append(brief.issued_s)
        for change in came.changes:
            if change.event == "raised" and change.alarm.kind in LOOKED_AT:
                alarm = change.alarm
                words = {None: "no sun", "air": "in the soil", "lid": "as outside"}.get(
                    alarm.place, "soil probe out"
                )
                what = words if alarm.kind == "probe-disagrees" else alarm.kind
                said.at_s[alarm.box, what].append(alarm.raised_s)
        for now in came.now:
            if now.doubt == "watered":
                said.at_s[now.box, "watered"].append(int(block.stop_s) - ROW_S)
    return said


WHAT = (
    "watered",
    "no sun",
    "in the soil",
    "as outside",
    "lid-loose",
    "unsure",
    "soil probe out",
    "no-shelter",
    "probe-jump",
)


def noticed(all_said: list[Said]) -> list[str]:
    """For each kind of upset: boxes, and of how many what was said, after how many hours (median)."""
    lines = [f"{'upset':20s}{'boxes':>6s}" + "".join(f"{what:>17s}" for what in WHAT)]
    for kind in worlds.KINDS[1:]:
        of_kind = [
            (said, box.name)
            for said in all_said
            for box, own in zip(said.world.boxes, said.world.kinds, strict=True)
            if own == kind
        ]
        cells = []
        for what in WHAT:
            hours = np.array([said.first_h(box, what) for said, box in of_kind])
            found = hours[~np.isnan(hours)]
            cells.append(f"{len(found):d} ({np.median(found):.0f} h)" if len(found) else "-")
        lines.append(f"{kind:20s}{len(of_kind):6d}" + "".join(f"{cell:>17s}" for cell in cells))
    return lines


def falsely(all_said: list[Said]) -> list[str]:
    """What was said of boxes left alone, a box-week."""
    weeks = sum(len(s.world.rows) * ROW_S * len(s.world.boxes) for s in all_said) / WEEK_S
    lines = [f"{weeks:.0f} box-weeks left alone"]
    for what in WHAT:
        count = sum(len(s.at_s[box.name, what]) for s in all_said for box in s.world.boxes)
        lines.append(f"  {what:16s} {count:5d}   {count / weeks:.4f} a box-week")
    briefs = sum(len(s.at_s[box.name, "brief"]) for s in all_said for box in s.world.boxes)
    return [*lines, f"  ({briefs} lines of briefs)"]


def judged(rows: PlaceRows, garden: Garden, step_s: int) -> dict[str, BoolArray]:
    """What the watch for upsets alone says of rows, (n, b) each."""
    watch, parts = upsets.new_upsets(garden.box_names, step_s), []
    days = np.array([local_date(int(t), garden.site.zone).toordinal() for t in rows.time_s])
    cuts = [0, *(np.flatnonzero(np.diff(days)) + 1).tolist(), len(rows)]
    for first, stop in pairwise(cuts):
        day = day_of(garden, date.fromordinal(int(days[first])))
        piece = rows.cut(first, stop)
        watch, found = upsets.look_for_upsets(watch, piece, boxes=garden.box_names, day=day, step_s=step_s)
        parts.append(found)
    return {
        name: np.concatenate([getattr(p, name) for p in parts])
        for name in (f.name for f in fields(upsets.Upsets))
    }


def enclosures(folder: Path) -> list[str]:
    """How often each thing begins in the measured enclosures."""
    lines = []
    for name, site in SETS.items():
        if not (folder / f"{name}.csv.gz").exists():
            continue
        rows = measured_sets.measured(folder, name, site=site)
        boxes = tuple(Box(name=f"b{k}") for k in range(rows.air_c.shape[1]))
        found = judged(rows, Garden(site=site, boxes=boxes), 300)
        both = ~np.isnan(rows.air_c) & ~np.isnan(rows.outside_air_c)[:, None]
        weeks = both.sum() * 300 / WEEK_S
        soil = (both & ~np.isnan(rows.soil_c)).sum() * 300 / WEEK_S
        begins = {what: int((holds[1:] & ~holds[:-1]).sum()) for what, holds in found.items()}
        lines.append(f"{name:24s} box-weeks {weeks:5.0f}, with soil {soil:5.0f}: {begins}")
    return lines


def main(arguments: list[str]) -> None:
    """Print the tables."""
    folder = Path(arguments[0]) if arguments else None
    alone, upset = [], []
    for seed in [int(word) for word in arguments[1:]] or SEEDS:
        for k, (name, weather, site) in enumerate(worlds.skies(seed, folder)):
            own = 10 * seed + k
            alone.append(watched(worlds.lived(name, weather, site, seed=own)))
            upset.append(watched(worlds.lived(name, weather, site, seed=own, kinds=worlds.kinds_of(own))))
    print("\n".join([*noticed(upset), "", *falsely(alone)]))
    if folder is not None:
        print("\n".join(["", *enclosures(folder)]))


if __name__ == "__main__":
    main(sys.argv[1:])
