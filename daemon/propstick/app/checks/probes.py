"""What `propstick check` finds on the wire and in the store: one line a probe."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from propstick.app.checks.finding import Finding, age
from propstick.app.garden_file.settings import Settings
from propstick.app.sightings import STORE, Sighting, shown_value
from propstick.units import Unit, shown_difference

NO_VALUE = "no value"


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
            found=f"{shown_value(one, unit) or NO_VALUE}, in no place of the garden file",
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
    words = [f"{place}: {shown_value(one, unit) or NO_VALUE}"]
    words += [f"correction {shown_difference(correction_c, unit):+.2f}"] if correction_c else []
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
