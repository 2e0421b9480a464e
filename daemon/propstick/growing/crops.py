"""What each crop bears and how long it takes to come up: `crops.toml` as frozen values.

Pure: the text comes in as an argument. `app/` reads the file that ships with the package.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from propstick.errors import InputError
from propstick.garden import CropLimits

_LIMITS = {"frost_c": (-20, 10), "heat_c": (15, 45), "soil_cold_c": (-5, 25), "soil_best_c": (5, 40),
           "soil_hot_c": (10, 50)}  # fmt: skip
_KEYS = {*_LIMITS, "also", "by_kinship", "note", "sources", "emergence", "harvest", "bolting"}
_HARVEST_KEYS = {"days", "at_c", "what"}
_BOLTING_KEYS = {"day_h", "heat_c", "cold_c", "words"}
_EMERGENCE_KEYS = {"days", "none_at_c", "normal_percent", "base_c", "theta_c_d"}


@dataclass(frozen=True, kw_only=True)
class Emergence:
    """Days from sowing to emergence by soil temperature, as published.

    Attributes:
        soil_c, days: The tested temperatures at which seedlings came, rising, and the days they took.
        none_at_c: Temperatures at which nothing came.
        normal_percent: Normal seedlings of a hundred seeds at each of `soil_c`; None where not given.
        base_c, theta_c_d: One straight line through the table over 5 to 20 °C: θ = (T - base) days.
            None where no line was fitted. It fails near 0 °C: use it only beyond the table.
    """

    soil_c: tuple[float, ...]
    days: tuple[float, ...]
    none_at_c: tuple[float, ...] = ()
    normal_percent: tuple[float | None, ...] = ()
    base_c: float | None = None
    theta_c_d: float | None = None


@dataclass(frozen=True, kw_only=True)
class Harvest:
    """Days from sowing to the first pick in a warm spring, as published or by kinship.

    Attributes:
        days_low, days_high: The published range.
        at_c: The mean air temperature such days are taken to have: our choice, no source has one.
        what: What is picked then.
    """

    days_low: float
    days_high: float
    at_c: float = 15.0
    what: str = ""


@dataclass(frozen=True, kw_only=True)
class Bolting:
    """What sends the crop to flower. None where no figure was found.

    Attributes:
        day_h: Day length from which it runs up.
        heat_c: Mean air of a long spell that drives it.
        cold_c: Weeks below this, once it has some size, make it flower later.
        words: The same in words, with what is known and what is not.
    """

    day_h: float | None = None
    heat_c: float | None = None
    cold_c: float | None = None
    words: str = ""


@dataclass(frozen=True, kw_only=True)
class Crop:
    """One crop.

    Attributes:
        also: Other names it is known by.
        limits: What the engine needs of it.
        soil_best_c: Soil temperature at which seed comes up best.
        by_kinship: The relative whose emergence and soil limits stand in for its own, or None.
        sources: For each kind of figure, where it is from.
    """

    name: str
    limits: CropLimits
    also: tuple[str, ...] = ()
    emergence: Emergence | None = None
    harvest: Harvest | None = None
    bolting: Bolting | None = None
    soil_best_c: float | None = None
    by_kinship: str | None = None
    note: str = ""
    sources: Mapping[str, str] = field(default_factory=dict)


def crop_table(text: str, *, own: str = "") -> dict[str, Crop]:
    """Every crop of a table in the form of `crops.toml`, by name, in the order of the text.

    Args:
        own: The person's own table: crops in it stand in place of those of the same name, and new ones
            come last. It need not name sources.

    Raises:
        InputError: text that is not TOML; an unknown key; a figure outside what soil and air can be;
            a relative that is not there, or has no table of its own; a name given twice.
    """
    data = _read(text)
    for entry in (mine := _read(own)).values():
        if isinstance(entry, dict):
            entry.setdefault("sources", {"all": "the garden's own crop file"})
    data.update(mine)
    for name, entry in data.items():
        _check(name, entry, data)
    crops = {name: _crop(name, entry, data) for name, entry in data.items()}
    names = [*crops, *(alias for crop in crops.values() for alias in crop.also)]
    if doubles := sorted({name for name in names if names.count(name) > 1}):
        raise InputError(f"crop table: got {', '.join(doubles)} more than once, expected each name once")
    return crops


def _read(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"crop table: got a text that is not TOML: {error}") from None


def find(crops: Mapping[str, Crop], word: str) -> Crop:
    """The crop of that name, or of one of its other names; case and spaces do not matter.

    Raises:
        InputError: no such crop; the message names the nearest.
    """
    wanted = "-".join(word.lower().replace("_", " ").split())
    by_name = {alias: crop for crop in crops.values() for alias in (*crop.also, crop.name)}
    if wanted in by_name:
        return by_name[wanted]
    near = difflib.get_close_matches(wanted, by_name, n=1)
    tail = f"; the nearest is {near[0]}" if near else ""
    raise InputError(f"crop: got {word!r}, expected one of {', '.join(crops)}{tail}")


def _check(name: str, entry: Any, data: Mapping[str, Any]) -> None:
    if not isinstance(entry, dict):
        raise InputError(f"crop table, {name}: got {entry!r}, expected a table")
    _known(name, entry, _KEYS)
    for key, (low, high) in _LIMITS.items():
        _number_between(f"{name}, {key}", entry.get(key), low, high)
    if not isinstance(entry.get("sources"), dict) or not entry["sources"]:
        raise InputError(f"crop table, {name}: got no sources, expected one for each kind of figure")
    kin = entry.get("by_kinship")
    if kin is not None and "emergence" not in data.get(kin, {}):
        raise InputError(f"crop table, {name}: by_kinship got {kin!r}, expected a crop with its own table")
    if "emergence" in entry:
        _check_emergence(name, entry["emergence"])
    if "harvest" in entry:
        _check_harvest(name, entry["harvest"])
    if "bolting" in entry:
        _check_bolting(name, entry["bolting"])


def _check_emergence(name: str, table: Mapping[str, Any]) -> None:
    _known(f"{name}.emergence", table, _EMERGENCE_KEYS)
    days = table.get("days", {})
    _number_between(f"{name}.emergence, base_c", table.get("base_c"), -5, 20)
    _number_between(f"{name}.emergence, theta_c_d", table.get("theta_c_d"), 5, 2000)
    if not days and (table.get("base_c") is None or table.get("theta_c_d") is None):
        raise InputError(
            f"crop table, {name}.emergence: got no days, expected one temperature or more, "
            "or base_c and theta_c_d"
        )
    for soil, value in days.items():
        _number_between(f"{name}.emergence, days at {soil}", value, 0.5, 400)
    for soil, value in table.get("normal_percent", {}).items():
        _number_between(f"{name}.emergence, normal_percent at {soil}", value, 0, 100)
        if soil not in days:
            raise InputError(f"crop table, {name}.emergence: percent at {soil}, where no days are given")


def _check_harvest(name: str, table: Mapping[str, Any]) -> None:
    _known(f"{name}.harvest", table, _HARVEST_KEYS)
    days = table.get("days")
    if not isinstance(days, list) or len(days) != 2 or not days[0] <= days[1]:
        raise InputError(f"crop table, {name}.harvest: days got {days!r}, expected two, the fewer first")
    for value in days:
        _number_between(f"{name}.harvest, days", value, 5, 400)
    _number_between(f"{name}.harvest, at_c", table.get("at_c"), 6, 30)


def _check_bolting(name: str, table: Mapping[str, Any]) -> None:
    _known(f"{name}.bolting", table, _BOLTING_KEYS)
    _number_between(f"{name}.bolting, day_h", table.get("day_h"), 8, 24)
    _number_between(f"{name}.bolting, heat_c", table.get("heat_c"), 10, 40)
    _number_between(f"{name}.bolting, cold_c", table.get("cold_c"), 0, 20)


def _known(name: str, table: Mapping[str, Any], keys: set[str]) -> None:
    for key in table:
        if key not in keys:
            raise InputError(f"crop table, {name}: got key {key}, expected one of {', '.join(sorted(keys))}")


def _number_between(what: str, value: Any, low: float, high: float) -> None:
    if value is None:
        return
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise InputError(f"crop table, {what}: got {value!r}, expected {low:g} to {high:g}")


def _crop(name: str, entry: Mapping[str, Any], data: Mapping[str, Any]) -> Crop:
    kin = entry.get("by_kinship")
    lender = data[kin] if kin is not None else entry
    emergence = entry.get("emergence") or lender.get("emergence")

    def soil(key: str) -> float | None:
        return _float(entry.get(key, lender.get(key)))

    return Crop(
        name=name,
        also=tuple(entry.get("also", ())),
        limits=CropLimits(
            crop=name,
            frost_c=_float(entry.get("frost_c")),
            heat_c=_float(entry.get("heat_c")),
            soil_cold_c=soil("soil_cold_c"),
            soil_hot_c=soil("soil_hot_c"),
        ),
        emergence=_emergence(emergence) if emergence else None,
        harvest=_harvest(entry["harvest"]) if "harvest" in entry else None,
        bolting=Bolting(**entry["bolting"]) if "bolting" in entry else None,
        soil_best_c=soil("soil_best_c"),
        by_kinship=kin,
        note=entry.get("note", ""),
        sources=dict(entry["sources"]),
    )


def _emergence(table: Mapping[str, Any]) -> Emergence:
    pairs = sorted((float(soil), float(days), soil) for soil, days in table.get("days", {}).items())
    percent = table.get("normal_percent", {})
    return Emergence(
        soil_c=tuple(soil for soil, _, _ in pairs),
        days=tuple(days for _, days, _ in pairs),
        none_at_c=tuple(sorted(float(soil) for soil in table.get("none_at_c", ()))),
        normal_percent=tuple(_float(percent.get(key)) for _, _, key in pairs),
        base_c=_float(table.get("base_c")),
        theta_c_d=_float(table.get("theta_c_d")),
    )


def _harvest(table: Mapping[str, Any]) -> Harvest:
    low, high = (float(days) for days in table["days"])
    return Harvest(
        days_low=low, days_high=high, at_c=float(table.get("at_c", 15.0)), what=table.get("what", "")
    )


def _float(value: Any) -> float | None:
    return None if value is None else float(value)
