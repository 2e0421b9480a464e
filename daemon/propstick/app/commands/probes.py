"""`propstick probes`: list them, name them, find which one is in your hand."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from propstick.app.commands._shared import add_json, buses_of, print_json, print_table, say, settings_of
from propstick.app.garden_file.settings import Settings
from propstick.app.in_hand import GIVE_UP_S, MOVED_C, find
from propstick.app.sightings import Sighting, read_buses, shown_value, sightings
from propstick.app.store import store_of
from propstick.errors import InputError, StoreError
from propstick.garden import OUTSIDE, PLACES
from propstick.ports import ProbeBus
from propstick.times import utc_text
from propstick.units import Unit

_EPILOG = """\
  propstick probes list
  propstick probes find                          warm one in your hand
  propstick probes name 28-3c01b556e1a2 north air
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = _EPILOG
    group = parser.add_subparsers(title="what", metavar="list|name|find", dest="what")
    listing = _add(
        group,
        "list",
        "every probe: where it is, what it shows, what is wrong with it",
        "  propstick probes list\n",
    )
    add_json(listing)
    naming = _add(
        group,
        "name",
        "put a probe in a place (edits the garden file, keeps comments)",
        "  propstick probes name 28-3c01b556e1a2 north air\n"
        "  propstick probes name 28-3c01b556e1a2 spot lane    a loose probe: what sun comes there\n",
    )
    naming.add_argument("id", metavar="ID", help="the probe's id, as `list` shows it")
    naming.add_argument("box", metavar="BOX", help="a box of the garden file, outside, or the word spot")
    naming.add_argument(
        "place", metavar="PLACE", help=f"one of {', '.join(PLACES)}; after spot: the spot of a loose probe"
    )
    finding = _add(
        group,
        "find",
        "warm a probe in the hand and see which one moves",
        "  propstick probes find\n\n"
        f"Hold one probe tightly; its id is said as soon as it has moved by {MOVED_C:g} °C.\n",
    )
    finding.add_argument(
        "--seconds", type=float, default=GIVE_UP_S, metavar="N", help="give up after N seconds (default 180)"
    )
    parser.set_defaults(json=False)


def _add(group: argparse._SubParsersAction, name: str, what: str, epilog: str) -> argparse.ArgumentParser:
    return group.add_parser(
        name,
        help=what,
        description=what[0].upper() + what[1:] + ".",
        epilog=epilog,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    settings = settings_of(args, probes_required=False)
    if args.what == "name":
        return _name(settings, args.id, args.box, args.place)
    if args.what == "find":
        return _find(settings, args.seconds)
    return _list(settings, as_json=args.json)


def _list(settings: Settings, *, as_json: bool) -> int:
    from propstick.edges.clock import SystemClock

    found, troubles = look(settings, buses_of(settings), now_s=int(SystemClock().wall_s()))
    if as_json:
        print_json([to_json(one) for one in found])
    elif found:
        unit = settings.garden.site.unit
        print_table(("probe", "place", "now", "flags"), [_row(one, unit) for one in found])
    for trouble in troubles:
        say(trouble)
    if not found:
        say(f"no probe on the wire at {settings.onewire.tree}, none in the garden file")
    elif any(one.assigned is None for one in found):
        say("A probe without a place is not watched: propstick probes name ID BOX PLACE")
    return 0


def look(settings: Settings, buses: Sequence[ProbeBus], *, now_s: int) -> tuple[list[Sighting], list[str]]:
    """Wire and store looked at once, and what is wrong with either. The store need not be there yet."""
    wired, troubles = read_buses(buses, now_s)
    try:
        with store_of(settings) as store:
            from propstick.edges.readings import ReadingLog

            log = ReadingLog(store, settings.garden.site.name)
            return sightings(settings.garden, wired, log=log, now_s=now_s), troubles
    except StoreError as error:
        if error.reason != "missing":
            troubles.append(error.message)
        return sightings(settings.garden, wired), troubles


def to_json(one: Sighting) -> dict[str, object]:
    """The sighting as data; values in °C, % or 0–1."""
    place = one.assigned
    return {
        "id": one.id,
        "box": place.box if place and not place.is_loose else None,
        "spot": place.spot if place else None,
        "place": place.place if place else None,
        "correction_c": place.correction_c if place else 0.0,
        "seen_on": one.seen_on,
        "value": one.value,
        "corrected": None if one.value_corrected is None else round(one.value_corrected, 4),
        "time": None if one.time_s is None else utc_text(one.time_s),
        "flags": list(one.flags),
    }


def _row(one: Sighting, unit: Unit) -> tuple[str, str, str, str]:
    place = f"{one.assigned.where} {one.assigned.place}" if one.assigned else "no place yet"
    flags = ", ".join(one.flags) if one.seen_on else "not seen"
    return one.id, place, shown_value(one, unit) or "-", flags


def _name(settings: Settings, probe_id: str, box: str, place: str) -> int:
    from propstick.app.garden_file.editing import assign, edit

    garden = settings.garden
    if box == "spot":
        spots = [spot.name for spot in garden.spots]
        if place not in spots:
            raise InputError(
                f"probes name: got spot {place!r}, expected one of {', '.join(spots) or 'none is there'}",
                hint=f"a new spot needs a [[spot]] in {settings.path}",
            )
        change, said = assign(probe_id, place, "air", is_loose=True), f"the loose probe on spot {place}"
    else:
        known = [*garden.box_names, OUTSIDE]
        if box not in known:
            raise InputError(
                f"probes name: got box {box!r}, expected one of {', '.join(known)}",
                hint=f"a new box needs a [[box]] in {settings.path}",
            )
        if place not in PLACES:
            raise InputError(f"probes name: got place {place!r}, expected one of {', '.join(PLACES)}")
        change, said = assign(probe_id, box, place), f"{box} {place}"
    before = next((probe for probe in garden.probes if probe.id == probe_id), None)
    edit(settings.path, change)
    moved = f" (was {before.where} {before.place})" if before else ""
    print(f"{probe_id} is now {said}{moved}, in {settings.path}")
    others = [p.id for p in garden.probes_at(box, place) if p.id != probe_id] if box != "spot" else []
    if others:
        say(
            f"{said} has {len(others) + 1} probes now, with {', '.join(others)}. If it takes the place of "
            f"one of them, delete that one's [[probe]] in {settings.path}"
        )
    return 0


def _find(settings: Settings, give_up_s: float) -> int:
    from propstick.edges.clock import SystemClock

    say("Leave all probes alone for a few seconds ...")
    probe = find(buses_of(settings), SystemClock(), give_up_s=give_up_s, tell=say)
    assigned = next((p for p in settings.garden.probes if p.id == probe), None)
    where = f"{assigned.where} {assigned.place}" if assigned else "no place yet"
    print(f"{probe}  {where}")
    if assigned is None:
        say(f"Give it a place: propstick probes name {probe} BOX PLACE")
    return 0
