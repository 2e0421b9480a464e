"""What `propstick check` looks at on this machine: garden, probes, clock, disk, and what goes unnoticed.

Each check gives findings: a thing, a mark in words, what was found, and what to do about it.
"""

from __future__ import annotations

import ctypes
import os
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from propstick.app.garden_file import sun_doubts
from propstick.app.garden_file.settings import PushTarget, Settings
from propstick.app.sightings import STORE, Sighting
from propstick.garden import OUTSIDE, Box
from propstick.times import local, utc_text
from propstick.units import Unit, shown

Mark = Literal["ok", "look", "bad"]

FREE_MIB_LOOK, FREE_MIB_BAD = 500, 100
"""Room for a year of readings of sixteen probes, and room for a backup. Our choice."""
BUILT_S = 1_764_000_000
"""2025-11-24: no Propstick was built before it, so a clock that says so is wrong."""
_TIME_ERROR = 5
"""What adjtimex(2) returns while the kernel holds the clock for unsynchronised."""


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One line of the check."""

    thing: str
    mark: Mark
    found: str
    do: str = ""

    def to_json(self) -> dict[str, str]:
        return {"thing": self.thing, "mark": self.mark, "found": self.found, "do": self.do}


def garden(settings: Settings, *, now_s: int = BUILT_S) -> Iterator[Finding]:
    """What the file says, and what it leaves out that a grower would miss."""
    it = settings.garden
    count = f"{_count(len(it.boxes), 'box', 'boxes')}, {_count(len(it.probes), 'probe', 'probes')}"
    yield Finding(thing="garden", mark="ok", found=f"{settings.path}: site {it.site.name}, {count}")
    if not it.boxes:
        yield Finding(
            thing="garden",
            mark="bad",
            found="no box: nothing is watched",
            do=f"add a [[box]] to {settings.path}",
        )
    for box in it.boxes:
        if not any(probe.box == box.name for probe in it.probes):
            yield Finding(
                thing=box.name,
                mark="bad",
                found="no probe: this box is not watched",
                do=f"propstick probes list, then propstick probes name ID {box.name} air",
            )
        elif not it.probes_at(box.name, "air"):
            yield Finding(
                thing=box.name,
                mark="look",
                found="no air probe: no warning of heat or frost here",
                do=f"propstick probes name ID {box.name} air",
            )
        yield from _arm(box, settings)
    if not it.site.has_sun:
        yield Finding(
            thing="site",
            mark="look",
            found="no position: the sun is unknown, forecasts are plain",
            do="set latitude, longitude and zone in [site]",
        )
    if doubt := sun_doubts.doubt(it.site, now_s):
        yield Finding(
            thing="site",
            mark="bad",
            found=doubt,
            do="west of Greenwich the longitude has a minus; see [site] latitude, longitude and zone",
        )
    if it.boxes and not it.probes_at(OUTSIDE, "air"):
        yield Finding(
            thing="outside",
            mark="look",
            found="no probe outside: nights are forecast less surely",
            do="propstick probes name ID outside air",
        )


def _arm(box: Box, settings: Settings) -> Iterator[Finding]:
    heat_c = box.limits.over(settings.garden.limits).heat_c
    if box.arm_opens_c is not None and heat_c is not None and box.arm_opens_c >= heat_c:
        yield Finding(
            thing=box.name,
            mark="look",
            found="the arm opens only above the heat limit",
            do="raise heat_c, or correct arm_opens_c",
        )


def unnoticed(settings: Settings) -> Iterator[Finding]:
    """What would happen and nobody would hear of it."""
    it, push = settings.garden, settings.push
    if not push.targets:
        yield Finding(
            thing="push",
            mark="look",
            found="no address: warnings are stored and reach nobody",
            do="add one to [push] urls, then propstick check --send",
        )
    yield from _lone_channel(push.targets)
    if it.person.goes_away and it.person.helper is None:
        away = f"{it.person.leaves:%H:%M} to {it.person.back:%H:%M}"
        yield Finding(
            thing="helper",
            mark="look",
            found=f"none: from {away} nobody can go to a lid",
            do="name one in [person] helper, with an entry in [push] urls",
        )
    if settings.watch.heartbeat_url is None:
        yield Finding(
            thing="heartbeat",
            mark="look",
            found="none: if the Pi dies, nobody is told",
            do="set [watch] heartbeat_url to a service that misses it",
        )


def _lone_channel(targets: Sequence[PushTarget]) -> Iterator[Finding]:
    """The helper's address is no second one: nothing goes to it while the person is at home."""
    own = [target.name for target in targets if target.to == "person"]
    if targets and not own:
        yield Finding(
            thing="push",
            mark="look",
            found="no address of your own, only the helper's",
            do="add one to [push] urls",
        )
    elif len(own) == 1:
        yield Finding(
            thing="push",
            mark="look",
            found=f"only {own[0]}: if that service fails, nobody is told",
            do="add a second of another kind (mail, message) to [push] urls",
        )


def probes(
    settings: Settings, found: Sequence[Sighting], troubles: Sequence[str], *, now_s: int
) -> Iterator[Finding]:
    """One line a probe, and one for the wire where it is at fault."""
    tree = settings.onewire.tree
    wired = [p for p in settings.garden.probes if "/" not in p.id]
    if not tree.is_dir():
        if wired or not settings.garden.probes:
            yield Finding(
                thing="wire",
                mark="bad",
                found=f"no 1-wire tree at {tree}",
                do="add dtoverlay=w1-gpio to /boot/firmware/config.txt and reboot",
            )
    else:
        yield from _triggers(tree)
    for trouble in troubles:
        yield Finding(thing="wire", mark="bad", found=trouble, do="look at plug, cable and pull-up resistor")
    loose = [one.id for one in found if one.assigned is None]
    for one in found:
        yield _probe(one, settings.garden.site.unit, settings.garden.step_s, now_s, loose=loose)


def _triggers(tree: Path) -> Iterator[Finding]:
    for file in sorted(tree.glob("w1_bus_master*/therm_bulk_read")):
        if not os.access(file, os.W_OK):
            yield Finding(
                thing="wire",
                mark="look",
                found=f"{file.parent.name}: probes are read one by one",
                do="the service's user may not write therm_bulk_read: see deploy/",
            )


def _unseen(one: Sighting, loose: Sequence[str]) -> str:
    """What to do about a probe that is not there: a new one on the wire may stand in its place."""
    same = [other for other in loose if other.lower() == one.id.lower()]
    if same:
        return f"write its id as the wire does: {same[0]}"
    cable = "look at its plug and cable, or at its node's battery"
    if len(loose) == 1 and "/" not in one.id:
        cable += f"; if {loose[0]} was put in its place, write that id in its [[probe]]"
    return cable


def _probe(one: Sighting, unit: Unit, step_s: int, now_s: int, *, loose: Sequence[str] = ()) -> Finding:
    if one.assigned is None:
        return Finding(
            thing=one.id,
            mark="look",
            found=f"{_value(one, unit)}, in no place of the garden file",
            do=f"propstick probes name {one.id} BOX PLACE",
        )
    place = f"{one.assigned.where} {one.assigned.place}"
    if one.seen_on is None:
        return Finding(
            thing=one.id,
            mark="bad",
            found=f"{place}: not seen",
            do=_unseen(one, loose),
        )
    correction_c = one.assigned.correction_c
    words = [f"{place}: {_value(one, unit)}"]
    words += [f"correction {correction_c * (1.8 if unit == 'F' else 1):+.2f}"] if correction_c else []
    if one.is_faulty:
        return Finding(
            thing=one.id,
            mark="bad",
            found=f"{', '.join(words)}, {', '.join(one.flags)}",
            do="look at plug, cable and pull-up; if it stays so, change the probe",
        )
    if one.seen_on == STORE and one.time_s is not None:
        age_s = now_s - one.time_s
        words.append(f"{age(age_s)} ago")
        if age_s > 3 * (one.assigned.every_s or step_s) + step_s:
            return Finding(
                thing=one.id, mark="look", found=", ".join(words), do="is its node running, and the watch?"
            )
    return Finding(thing=one.id, mark="ok", found=", ".join(words))


def _value(one: Sighting, unit: Unit) -> str:
    value, place = one.value_corrected, one.assigned.place if one.assigned else "air"
    if value is None:
        return "no value"
    if place in ("humidity", "moisture"):
        return f"{value:.0f} %"
    return f"{value:.2f} open" if place == "lid" else f"{shown(value, unit):.1f} °{unit}"


def clock(settings: Settings, *, now_s: int, last_row_s: int | None, synchronised: bool | None) -> Finding:
    """Whether the clock can be believed: every time in the store rests on it."""
    told = f"{local(now_s, settings.garden.site.zone):%Y-%m-%d %H:%M} ({settings.garden.site.zone or 'UTC'})"
    wait = "connect the Pi to a network, or add a clock chip; the watch waits until it is set"
    if now_s < BUILT_S:
        return Finding(thing="clock", mark="bad", found=f"{told}: not set", do=wait)
    if last_row_s is not None and now_s < last_row_s - 60:
        return Finding(
            thing="clock", mark="bad", found=f"{told}, before the last row {utc_text(last_row_s)}", do=wait
        )
    if synchronised is False:
        helps = "timedatectl shows why; without a network a clock chip helps"
        return Finding(thing="clock", mark="look", found=f"{told}, not synchronised", do=helps)
    return Finding(thing="clock", mark="ok", found=told + (", synchronised" if synchronised else ""))


def is_synchronised() -> bool | None:
    """What the kernel says of its clock; None where it cannot be asked."""
    try:
        timex = ctypes.create_string_buffer(512)  # struct timex, modes = 0: only asks
        state = ctypes.CDLL(None).adjtimex(timex)
    except (OSError, AttributeError):
        return None
    return None if state < 0 else state != _TIME_ERROR


def disk(settings: Settings) -> Finding:
    """Room and leave to write where the store lies."""
    file = settings.store.sqlite_file
    folder = file.parent if file else settings.path.resolve().parent
    while not folder.is_dir():
        folder = folder.parent
    free_mib = shutil.disk_usage(folder).free // 2**20
    if os.statvfs(folder).f_flag & os.ST_RDONLY:
        return Finding(
            thing="disk",
            mark="bad",
            found=f"{folder} is on a read-only file system",
            do="a worn card does this: make a backup and change it",
        )
    mark: Mark = "bad" if free_mib < FREE_MIB_BAD else "look" if free_mib < FREE_MIB_LOOK else "ok"
    do = "" if mark == "ok" else "make room, or take old backups elsewhere"
    return Finding(thing="disk", mark=mark, found=f"{free_mib:,} MiB free at {folder}", do=do)


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def age(seconds: float) -> str:
    """`40 s`, `12 min`, `5 h`, `3 days`."""
    for unit, size in (("days", 86_400), ("h", 3600), ("min", 60)):
        if seconds >= 2 * size:
            return f"{seconds / size:.0f} {unit}"
    return f"{max(0, seconds):.0f} s"
