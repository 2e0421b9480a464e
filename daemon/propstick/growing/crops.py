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
from propstick.growing.crop_checks import check
from propstick.limits import CropLimits


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
        depletion: Share of the water its roots reach that may be gone before it feels it, at 5 mm a day.
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
    depletion: float | None = None
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
        check(name, entry, data)
    crops = {name: _crop(name, entry, data) for name, entry in data.items()}
    names = [*crops, *(alias for crop in crops.values() for alias in crop.also)]
    if doubles := sorted({name for name in names if names.count(name) > 1}):
        raise InputError(f"crop table: got {', '.join(doubles)} more than once, expected each name once")
    return crops


def _read(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        # Beside its own errors tomllib lets through Python's on numbers and nests of thousands.
        raise InputError(f"crop table: got a text that is not TOML: {str(error)[:120]}") from None


def find(crops: Mapping[str, Crop], word: str) -> Crop:
    """The crop of that name, or of one of its other names; case and spaces do not matter.

    Raises:
        InputError: no such crop; the message names the nearest.
    """
    crop = known(crops, word)
    if crop is not None:
        return crop
    near = difflib.get_close_matches(_wanted(word), _by_name(crops), n=1)
    # The nearest first: behind so long a list nobody finds it.
    head = f"; the nearest is {near[0]}, and known are" if near else ", expected one of"
    raise InputError(f"crop: got {word!r}{head} {', '.join(crops)}")


def known(crops: Mapping[str, Crop], word: str) -> Crop | None:
    """The same; None for a crop without any figures, which a person may sow all the same."""
    return _by_name(crops).get(_wanted(word))


def _wanted(word: str) -> str:
    return "-".join(word.lower().replace("_", " ").split())


def _by_name(crops: Mapping[str, Crop]) -> dict[str, Crop]:
    return {alias: crop for crop in crops.values() for alias in (*crop.also, crop.name)}


def _crop(name: str, entry: Mapping[str, Any], data: Mapping[str, Any]) -> Crop:
    kin = entry.get("by_kinship")
    lender = data[kin] if kin is not None else entry
    emergence = entry.get("emergence") or lender.get("emergence")

    def lent(key: str) -> float | None:
        return _float(entry.get(key, lender.get(key)))

    return Crop(
        name=name,
        also=tuple(entry.get("also", ())),
        limits=CropLimits(
            crop=name,
            frost_c=_float(entry.get("frost_c")),
            heat_c=_float(entry.get("heat_c")),
            soil_cold_c=lent("soil_cold_c"),
            soil_hot_c=lent("soil_hot_c"),
        ),
        emergence=_emergence(emergence) if emergence else None,
        harvest=_harvest(entry["harvest"]) if "harvest" in entry else None,
        bolting=Bolting(**entry["bolting"]) if "bolting" in entry else None,
        soil_best_c=lent("soil_best_c"),
        depletion=lent("depletion"),
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
