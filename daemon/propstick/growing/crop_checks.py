"""Whether a table of crops can be taken as written; `crops.py` then reads it without looking back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from propstick.errors import InputError

_LIMITS = {"frost_c": (-20, 10), "heat_c": (15, 45), "soil_cold_c": (-5, 25), "soil_best_c": (5, 40),
           "soil_hot_c": (10, 50), "depletion": (0.1, 0.8)}  # fmt: skip
_KEYS = {*_LIMITS, "also", "by_kinship", "note", "sources", "emergence", "harvest", "bolting"}
_HARVEST_KEYS = {"days", "at_c", "what"}
_BOLTING_KEYS = {"day_h", "heat_c", "cold_c", "words"}
_EMERGENCE_KEYS = {"days", "none_at_c", "normal_percent", "base_c", "theta_c_d"}


def check(name: str, entry: Any, data: Mapping[str, Any]) -> None:
    """Checks one crop of the whole table `data`.

    Raises:
        InputError: an unknown key, another kind of value than expected, a figure outside what soil and
            air can be, or a relative that is not there or has no table of its own.
    """
    _known(name, entry, _KEYS)
    for key, (low, high) in _LIMITS.items():
        _number_between(f"{name}, {key}", entry.get(key), low, high)
    if not isinstance(entry.get("sources"), dict) or not entry["sources"]:
        raise InputError(f"crop table, {name}: got no sources, expected one for each kind of figure")
    for key, words in (("note", [entry.get("note")]), ("also", _list(f"{name}, also", entry.get("also")))):
        _texts(f"{name}, {key}", words)
    _texts(f"{name}.sources", entry["sources"].values())
    kin = entry.get("by_kinship")
    _texts(f"{name}, by_kinship", [kin])
    relative = {} if kin is None else data.get(kin)
    if kin is not None and not (isinstance(relative, dict) and "emergence" in relative):
        raise InputError(f"crop table, {name}: by_kinship got {kin!r}, expected a crop with its own table")
    for key, checked in (
        ("emergence", _check_emergence), ("harvest", _check_harvest), ("bolting", _check_bolting),
    ):  # fmt: skip
        if key in entry:
            checked(f"{name}.{key}", entry[key])


def _check_emergence(where: str, table: Any) -> None:
    _known(where, table, _EMERGENCE_KEYS)
    days, percent = table.get("days", {}), table.get("normal_percent", {})
    _number_between(f"{where}, base_c", table.get("base_c"), -5, 20)
    _number_between(f"{where}, theta_c_d", table.get("theta_c_d"), 5, 2000)
    if not days and (table.get("base_c") is None or table.get("theta_c_d") is None):
        raise InputError(
            f"crop table, {where}: got no days, expected one temperature or more, or base_c and theta_c_d"
        )
    for figures, key, low, high in ((days, "days", 0.5, 400), (percent, "normal_percent", 0, 100)):
        if not isinstance(figures, dict):
            raise InputError(f"crop table, {where}: {key} got {_brief(figures)}, expected a table")
        for soil, value in figures.items():
            _soil(f"{where}, {key}", soil)
            _number_between(f"{where}, {key} at {soil}", value, low, high)
            if soil not in days:
                raise InputError(f"crop table, {where}: percent at {soil}, where no days are given")
    for soil in _list(f"{where}, none_at_c", table.get("none_at_c")):
        _number_between(f"{where}, none_at_c", soil, -5, 60)


def _check_harvest(where: str, table: Any) -> None:
    _known(where, table, _HARVEST_KEYS)
    days = table.get("days")
    if not isinstance(days, list) or len(days) != 2:
        raise InputError(f"crop table, {where}: days got {_brief(days)}, expected two, the fewer first")
    for value in days:
        _number_between(f"{where}, days", value, 5, 400)
    if not days[0] <= days[1]:
        raise InputError(f"crop table, {where}: days got {_brief(days)}, expected two, the fewer first")
    _number_between(f"{where}, at_c", table.get("at_c"), 6, 30)
    _texts(f"{where}, what", [table.get("what")])


def _check_bolting(where: str, table: Any) -> None:
    _known(where, table, _BOLTING_KEYS)
    _number_between(f"{where}, day_h", table.get("day_h"), 8, 24)
    _number_between(f"{where}, heat_c", table.get("heat_c"), 10, 40)
    _number_between(f"{where}, cold_c", table.get("cold_c"), 0, 20)
    _texts(f"{where}, words", [table.get("words")])


def _known(where: str, table: Any, keys: set[str]) -> None:
    if not isinstance(table, dict):
        raise InputError(f"crop table, {where}: got {_brief(table)}, expected a table")
    for key in table:
        if key not in keys:
            raise InputError(f"crop table, {where}: got key {key}, expected one of {', '.join(sorted(keys))}")


def _list(where: str, value: Any) -> list[Any]:
    if value is not None and not isinstance(value, list):
        raise InputError(f"crop table, {where}: got {_brief(value)}, expected a list")
    return value or []


def _texts(where: str, values: Any) -> None:
    for value in values:
        if value is not None and not isinstance(value, str):
            raise InputError(f"crop table, {where}: got {_brief(value)}, expected a text")


def _soil(where: str, key: str) -> None:
    """Temperatures stand as keys, so as texts."""
    try:
        soil_c = float(key)
    except ValueError:
        raise InputError(f"crop table, {where}: got {key[:40]!r}, expected a temperature") from None
    _number_between(where, soil_c, -5, 60)


def _number_between(where: str, value: Any, low: float, high: float) -> None:
    if value is None:
        return
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise InputError(f"crop table, {where}: got {_brief(value)}, expected {low:g} to {high:g}")


def _brief(value: Any) -> str:
    """As an error shows it. Python writes no integer of thousands of digits."""
    try:
        return repr(value)[:60]
    except (ValueError, RecursionError):
        return "a number of thousands of digits"
