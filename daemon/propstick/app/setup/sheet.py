"""The garden file that comes of a first evening: short, commented, as `garden_file/load.py` reads it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit

from propstick.app.garden_file.models import WEEKDAYS
from propstick.app.setup.understood import Answers
from propstick.garden import Person


def garden_text(answers: Answers, *, push_file: str, store_url: str | None, address: str | None) -> str:
    """The garden file, with a comment for everything a person may want to change by hand.

    Args:
        answers: All but what was left open: that takes its default.
        push_file: File beside it with the address in it; used if there is one.
        store_url: Where the store lies; None for the default, beside this file.
        address: How phones reach the page; None: it is for this machine only.
    """
    parts = [_HEAD, _site(answers), _person(answers)]
    parts += [_box(name, is_first=k == 0) for k, name in enumerate(answers.boxes or ())]
    parts += [_probes(answers), _push(push_file if answers.push else None)]
    if store_url is not None:
        parts.append(_table("store", {"url": store_url}, "Readings, alarms, sowings; backups beside it."))
    if address is not None:
        parts.append(
            _table("api", {"listen": "0.0.0.0", "address": address}, "The page, for phones at home.")
        )
    return "\n\n".join(part.rstrip("\n") for part in parts) + "\n"


_HEAD = """\
# Written by `propstick setup`. Change it as you like: deploy/garden.toml shows every key there is.
# Then ask `propstick check`. The watch takes a changed file at its next row.
# Temperatures: keys that end in _c take Celsius, the same ending in _f Fahrenheit."""


def _table(name: str, keys: Mapping[str, Any], comment: str) -> str:
    return f"# {comment}\n[{name}]\n" + "".join(f"{key} = {_toml(value)}\n" for key, value in keys.items())


def _toml(value: Any) -> str:
    return tomlkit.item(list(value) if isinstance(value, tuple) else value).as_string()


def _site(answers: Answers) -> str:
    keys: dict[str, Any] = {"name": "garden"}
    if answers.position:
        keys["latitude"], keys["longitude"] = answers.position
    if answers.zone:
        keys["zone"] = answers.zone
    keys["unit"] = answers.unit or "C"
    where = "Where it is" if answers.position else "No position told: no sun, and the plain forecasts"
    return _table("site", keys, f"{where}; degrees north and east. The unit is what you read.")


def _person(answers: Answers) -> str:
    person = Person()
    keys: dict[str, Any] = {}
    if answers.away:
        keys["leaves"], keys["back"] = answers.away
        keys["away_days"] = answers.away_days or tuple(WEEKDAYS[:5])
    keys["bed"], keys["rises"] = answers.night or (f"{person.bed:%H:%M}", f"{person.rises:%H:%M}")
    return _table("person", keys, "Away, the morning brief decides; in bed, only what is worth waking for.")


def _box(name: str, *, is_first: bool) -> str:
    text = f"[[box]]\nname = {_toml(name)}\n"
    return text + (_BOX_HINTS if is_first else "")


_BOX_HINTS = """\
# Say these where they differ; they make the first days' forecasts better. The rest is learnt.
#floor_m2 = 0.72         # ground under it, square metres
#glazing = "glass"       # glass, twin-wall, film or double-glass
#tilt_deg = 10.0         # slope of the lid
#faces = "south"         # where its low side looks
#lid_kind = "hinged"     # hinged, sliding or lift-off
#reaction_minutes = 20.0 # from a push to your hand on this lid
"""


def _probes(answers: Answers) -> str:
    entries = [
        f"[[probe]]\nid = {_toml(probe)}\nbox = {_toml(box)}\nplace = {_toml(place)}\n"
        for probe, box, place in answers.probes or ()
    ]
    if not entries:
        return "# No probe yet: propstick probes find, then propstick probes name ID BOX PLACE."
    return "# Which probe is which.\n" + "\n".join(entries)


def _push(file: str | None) -> str:
    if file is None:
        return "# Nobody is told yet: deploy/garden.toml shows [push] urls."
    return (
        f"# The address lies in {file}: it holds a password. propstick check --send tries it.\n"
        f'[push]\nurls = [{{ name = "phone", url_file = {_toml(file)} }}]\n'
    )
