"""The garden a recording is replayed in: from the garden file or the columns, then `--site` and `--set`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import fields, replace
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel, ValidationError

from propstick.app.garden_file.errors import kind_of
from propstick.app.garden_file.models import WEEKDAYS, AlarmsTable, BoxTable, PersonTable, SiteTable
from propstick.app.recording import Recording
from propstick.errors import InputError
from propstick.garden import Box, Garden, Probe, Site, Sowing
from propstick.limits import Limits
from propstick.times import zone
from propstick.units import Unit, c_from_f, difference_c_from_f

_PERSON_KEYS = ("leaves", "back", "bed", "rises", "away_days")
_BOX_KEYS = (
    "floor_m2", "glazing", "tilt_deg", "faces", "lid_kind", "arm_opens_c", "reaction_minutes",
)  # fmt: skip
_LIMIT_KEYS = tuple(field.name for field in fields(Limits))


def site_of(text: str, *, unit: Unit) -> Site:
    """The site of `--site LAT,LON,ZONE`; the zone may be left out.

    Raises:
        InputError: not two figures and a zone, or out of range.
    """
    parts = [part.strip() for part in text.split(",")]
    expected = "LAT,LON,ZONE such as 53.35,-6.26,Europe/Dublin"
    try:
        latitude, longitude = float(parts[0]), float(parts[1])
        SiteTable(latitude=latitude, longitude=longitude)
    except (ValueError, IndexError):
        raise InputError(f"--site: got {text!r}, expected {expected}, degrees north and east") from None
    if len(parts) > 3:
        raise InputError(f"--site: got {text!r}, expected {expected}")
    name = parts[2] if len(parts) == 3 and parts[2] else None
    if name is not None:
        zone(name)
    return Site(latitude=latitude, longitude=longitude, zone=name, unit=unit)


def garden_of(
    recording: Recording, *, base: Garden | None = None, site: Site | None = None, unit: Unit | None = None
) -> Garden:
    """The garden of the file, or one with every box the columns name, with the recording's probes.

    A sowing of unknown crop is assumed in each box that has none: an empty box needs no warning.
    """
    garden = base or Garden(
        site=Site(unit=unit or "C"), boxes=tuple(Box(name=name) for name in recording.boxes)
    )
    sown = {sowing.box for sowing in garden.sowings}
    assumed = tuple(Sowing(id=f"assumed-{b}", box=b) for b in garden.box_names if b not in sown)
    return replace(
        garden,
        site=garden.site if site is None else replace(site, name=garden.site.name),
        probes=tuple(_with_correction(probe, garden.probes) for probe in recording.probes),
        sowings=garden.sowings + assumed,
    )


def _with_correction(probe: Probe, known: Sequence[Probe]) -> Probe:
    """A column that names a probe of the garden holds what it sensed, so its correction applies.

    A column without one holds the place's value, which needs no correction.
    """
    for one in known:
        if probe.id == f"{one.box}.{one.place}.{one.id}":
            return replace(probe, correction_c=one.correction_c, every_s=probe.every_s or one.every_s)
    return probe


def with_settings(garden: Garden, pairs: Iterable[str]) -> Garden:
    """The garden with `[BOX.]KEY=VALUE` in place of what it says: limits, a box's facts, the person's hours.

    Raises:
        InputError: an unknown box or key, a value of the wrong kind or out of range, one key twice.
    """
    done: set[tuple[str | None, str]] = set()
    for pair in pairs:
        left, equals, text = pair.partition("=")
        box, dot, key = left.strip().rpartition(".")
        if not equals or not key:
            raise InputError(f"--set: got {pair!r}, expected [BOX.]KEY=VALUE such as north.heat_c=26")
        if dot and box not in garden.box_names:
            listed = ", ".join(garden.box_names) or "none"
            raise InputError(f"--set {pair}: got box {box!r}, expected one of {listed}")
        key, value = _metric(key, _value_of(text.strip()), pair)
        if (box or None, key) in done:
            raise InputError(f"--set {pair}: got {left.strip()} a second time, expected it once")
        done.add((box or None, key))
        garden = _with(garden, box or None, key, value, pair)
    if (garden.person.leaves is None) != (garden.person.back is None):
        raise InputError("--set: got one of leaves and back, expected both or neither")
    return garden


def _with(garden: Garden, box: str | None, key: str, value: Any, pair: str) -> Garden:
    if key in _LIMIT_KEYS:
        limits = Limits(**{key: _checked(AlarmsTable, key, value, pair)})
        if box is None:
            return replace(garden, limits=limits.over(garden.limits))
        return _with_box(garden, (box,), lambda b: replace(b, limits=limits.over(b.limits)))
    if key in _BOX_KEYS:
        field = "faces_deg" if key == "faces" else key
        fact = {field: _checked(BoxTable, key, value, pair)}
        return _with_box(garden, (box,) if box else garden.box_names, lambda b: replace(b, **fact))
    if key in _PERSON_KEYS and box is None:
        if key == "away_days":
            value = [day for day in str(value).split("+") if day]
        checked = _checked(PersonTable, key, value, pair)
        if key == "away_days":
            checked = frozenset(WEEKDAYS.index(day) for day in checked)
        return replace(garden, person=replace(garden.person, **{key: checked}))
    known = [*_LIMIT_KEYS, *_BOX_KEYS, *([] if box else _PERSON_KEYS)]
    near = get_close_matches(key, known, n=1)
    raise InputError(
        f"--set {pair}: got key {key!r}, expected one of {', '.join(known)}",
        hint=f"the nearest is {near[0]}" if near else "",
    )


def _with_box(garden: Garden, names: Sequence[str], change: Any) -> Garden:
    return replace(garden, boxes=tuple(change(b) if b.name in names else b for b in garden.boxes))


def _value_of(text: str) -> Any:
    text = text.strip("\"'")
    if re.fullmatch(r"[+-]?\d{1,9}", text):
        return int(text)
    if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", text):
        return float(text)
    return text


def _metric(key: str, value: Any, pair: str) -> tuple[str, Any]:
    """A key in °F as its key in °C."""
    if not key.endswith("_f"):
        return key, value
    metric_key = key[:-2] + "_c"
    info = AlarmsTable.model_fields.get(metric_key) or BoxTable.model_fields.get(metric_key)
    kind = kind_of(info) if info else None
    if kind is None:
        return key, value
    if not isinstance(value, int | float):
        raise InputError(f"--set {pair}: got {value!r}, expected a number of °F")
    return metric_key, round(c_from_f(value) if kind == "temperature" else difference_c_from_f(value), 6)


def _checked(table: type[BaseModel], key: str, value: Any, pair: str) -> Any:
    """The value as the garden file's own table takes it."""
    required = {"name": "box"} if table is BoxTable else {}
    try:
        return getattr(table.model_validate({**required, key: value}), key)
    except ValidationError as error:
        reason = error.errors(include_url=False)[0]["msg"]
        raise InputError(f"--set {pair}: got {value!r}; {reason[0].lower()}{reason[1:]}") from None
