"""The garden file's tables against one another: doubles, names that lead nowhere, limits out of order."""

from __future__ import annotations

from collections.abc import Iterable

from pydantic import BaseModel

from propstick.app.garden_file.errors import Problem, nearest, shown
from propstick.app.garden_file.models import AlarmsTable, GardenTable, ProbeTable, PushEntryTable
from propstick.app.garden_file.toml_lines import Lines, Path
from propstick.garden import OUTSIDE
from propstick.limits import DEFAULT_LIMITS, Limits


def limits_of(table: AlarmsTable) -> Limits:
    """`[alarms]` or `[box.alarms]` as limits."""
    return Limits(**table.model_dump())


def against_one_another(tables: GardenTable, lines: Lines, probes_required: bool) -> Iterable[Problem]:
    """What no table shows alone, in the order of the file's tables."""
    yield from _site(tables)
    yield from _person(tables)
    yield from _doubles(tables.box, "box", "name", lines)
    yield from _doubles(tables.spot, "spot", "name", lines)
    yield from _boxes(tables, probes_required)
    yield from _probes(tables, lines)
    yield from _push(tables)


def _site(tables: GardenTable) -> Iterable[Problem]:
    site = tables.site
    for have, miss in (("latitude", "longitude"), ("longitude", "latitude")):
        if getattr(site, have) is not None and getattr(site, miss) is None:
            yield Problem(
                path=("site", have), found=f"{have} alone", expected="latitude and longitude, or neither"
            )
    if site.latitude is not None and site.zone is None:
        yield Problem(
            path=("site", "latitude"),
            found="a position without zone",
            expected="zone beside it, such as 'Europe/Dublin'",
        )


def _person(tables: GardenTable) -> Iterable[Problem]:
    person = tables.person
    for have, miss in (("leaves", "back"), ("back", "leaves")):
        if getattr(person, have) is not None and getattr(person, miss) is None:
            yield Problem(
                path=("person", have), found=f"{have} alone", expected="leaves and back, or neither"
            )
    if person.leaves and person.back and person.leaves >= person.back:
        yield Problem(
            path=("person", "back"),
            found=f"back {person.back:%H:%M}, leaves {person.leaves:%H:%M}",
            expected="a return later in the day than leaving",
        )
    if person.bed == person.rises:
        yield Problem(path=("person", "rises"), found="the same as bed", expected="two different times")
    names = [name for name, _ in push_names(tables)]
    if person.helper is not None and person.helper not in names:
        known = ", ".join(names) or "none is there"
        yield Problem(
            path=("person", "helper"),
            found=shown(person.helper),
            expected=f"the name of an entry in [push] urls ({known})",
            hint=f"urls = [{{ name = {shown(person.helper)}, url_file = 'helper.url' }}]",
        )


def _doubles(entries: Iterable[BaseModel], table: str, key: str, lines: Lines) -> Iterable[Problem]:
    first: dict[str, int] = {}
    for k, entry in enumerate(entries):
        value = getattr(entry, key)
        if value in first:
            line = lines.of((table, first[value], key))
            yield Problem(
                path=(table, k, key),
                found=f"{value!r}, already on line {line}",
                expected=f"each {table} once",
            )
        first.setdefault(value, k)


def _boxes(tables: GardenTable, probes_required: bool) -> Iterable[Problem]:
    spots = [spot.name for spot in tables.spot]
    equipped = {probe.box for probe in tables.probe}
    found = list(_limits_in_order(tables.alarms, AlarmsTable(), ("alarms",)))
    for k, box in enumerate(tables.box):
        if box.spot is not None and box.spot not in spots:
            yield _unknown(("box", k, "spot"), box.spot, spots, "a [[spot]]")
        found += _limits_in_order(box.alarms, tables.alarms, ("box", k, "alarms"))
    if probes_required and tables.box and not any(box.name in equipped for box in tables.box):
        # One that lost its probe is no reason not to watch the others.
        name = tables.box[0].name
        yield Problem(
            path=("box", 0),
            found="no probe in any box",
            expected=f"at least one [[probe]] such as one with box = {name!r}",
            hint=f"propstick probes list shows what is on the wire; propstick probes name ID {name} air",
        )
    yield from dict.fromkeys(found)  # what the site set wrongly is wrong in every box


def _limits_in_order(own: AlarmsTable, wider: AlarmsTable, path: Path) -> Iterable[Problem]:
    """Faults of a box's limits, at the box if it set one of them, else at the site's."""
    limits = limits_of(own).over(limits_of(wider)).over(DEFAULT_LIMITS)
    heat_c, prop_c, frost_c = limits.heat_c or 0.0, limits.prop_c or 0.0, limits.frost_c or 0.0
    if "prop_c" in _set_keys(own, wider) and prop_c > heat_c:
        yield Problem(
            path=_limit_at(own, path, ("prop_c", "heat_c")),
            found=f"prop_c {prop_c:g} above heat_c {heat_c:g}",
            expected="advice to prop below the alarm",
        )
    if frost_c >= heat_c:
        yield Problem(
            path=_limit_at(own, path, ("frost_c", "heat_c")),
            found=f"frost_c {frost_c:g}, heat_c {heat_c:g}",
            expected="frost below heat",
        )


def _limit_at(own: AlarmsTable, path: Path, keys: tuple[str, str]) -> Path:
    here = [key for key in keys if key in own.model_fields_set]
    return (*path, here[0]) if here else ("alarms", keys[0])


def _set_keys(*tables: AlarmsTable) -> set[str]:
    return set().union(*(table.model_fields_set for table in tables))


def _probes(tables: GardenTable, lines: Lines) -> Iterable[Problem]:
    boxes = [box.name for box in tables.box] + [OUTSIDE]
    spots = [spot.name for spot in tables.spot]
    first: dict[str, int] = {}
    for k, probe in enumerate(tables.probe):
        if (probe.box is None) == (probe.spot is None):
            yield Problem(
                path=("probe", k, "box"),
                found="nothing" if probe.box is None else "box and spot",
                expected="box, or for a probe without a box spot, and not both",
            )
        elif probe.box is not None and probe.box not in boxes:
            yield _unknown(("probe", k, "box"), probe.box, boxes, "a [[box]]")
        elif probe.spot is not None:
            if probe.spot not in spots:
                yield _unknown(("probe", k, "spot"), probe.spot, spots, "a [[spot]]")
            if probe.place != "air":
                yield Problem(
                    path=("probe", k, "place"),
                    found=shown(probe.place),
                    expected="air: a probe on a bare spot shows sun by its warmth",
                )
        if probe.id in first:
            other = tables.probe[first[probe.id]]
            line = lines.of(("probe", first[probe.id], "id"))
            yield Problem(
                path=("probe", k, "id"),
                found=f"{_where(probe)} {probe.place}, on line {line} {_where(other)} {other.place}",
                expected="a probe in one place",
                hint="delete one of the two [[probe]] entries",
            )
        first.setdefault(probe.id, k)


def _where(probe: ProbeTable) -> str:
    return probe.box or f"spot {probe.spot}"


def _unknown(path: Path, name: str, known: list[str], what: str) -> Problem:
    near = nearest(name, known)
    tail = f"; the nearest is {near}" if near else ""
    return Problem(
        path=path, found=shown(name), expected=f"{what}: {', '.join(known) or 'none is there'}{tail}"
    )


def _push(tables: GardenTable) -> Iterable[Problem]:
    seen: dict[str, int] = {}
    for k, entry in enumerate(tables.push.urls):
        if (entry.url is None) == (entry.url_file is None):
            yield Problem(
                path=("push", "urls", k), found="both or neither", expected="one of url and url_file"
            )
    for k, (name, _) in enumerate(push_names(tables)):
        if name in seen:
            yield Problem(
                path=("push", "urls", k), found=f"a second entry named {name!r}", expected="each name once"
            )
        seen.setdefault(name, k)
    if (tables.push.quiet_from is None) != (tables.push.quiet_until is None):
        key = "quiet_from" if tables.push.quiet_until is None else "quiet_until"
        yield Problem(
            path=("push", key), found=f"{key} alone", expected="quiet_from and quiet_until, or neither"
        )
    minutes = tables.push.escalation_minutes
    if list(minutes) != sorted(set(minutes)):
        yield Problem(
            path=("push", "escalation_minutes"), found=shown(list(minutes)), expected="rising minutes"
        )
    watch = tables.watch
    if watch.heartbeat_url is not None and watch.heartbeat_url_file is not None:
        yield Problem(
            path=("watch", "heartbeat_url"),
            found="both",
            expected="one of heartbeat_url and heartbeat_url_file",
        )


def push_names(tables: GardenTable) -> list[tuple[str, PushEntryTable]]:
    """Entries with their names; one without is `phone`, the next `phone-2` and so on."""
    return [
        (entry.name or ("phone" if k == 0 else f"phone-{k + 1}"), entry)
        for k, entry in enumerate(tables.push.urls)
    ]
