"""What is wrong with a garden file, in words a grower can act on: file, line, key, found, expected."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from propstick.app.garden_file.toml_lines import Lines, Path, value_at
from propstick.errors import ConfigError
from propstick.units import c_from_f, difference_c_from_f, f_from_c

SHOW_ALL = "deploy/garden.toml shows every key with its unit, its range and its default"
NOTHING = "nothing"
_SECRET = re.compile(r"pass|secret|token|pw", re.IGNORECASE)
_TABLE_WORDS = {"box", "spot", "probe"}


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One thing wrong at one place of the file."""

    path: Path
    found: str
    expected: str
    hint: str = ""


def refuse(file: str, problems: Iterable[Problem], *, lines: Lines, data: Mapping) -> ConfigError:
    """One error that tells every problem, a line each, in the order of the file."""
    told = sorted((lines.of(p.path) or 0, _one_line(file, p, lines, data), p.hint) for p in problems)
    hints = list(dict.fromkeys(hint for _, _, hint in told if hint))
    return ConfigError("\n".join(text for _, text, _ in told), hint="; ".join(hints[:3]) or SHOW_ALL)


def _one_line(file: str, problem: Problem, lines: Lines, data: Mapping) -> str:
    line = lines.of(problem.path)
    at = f"{file}:{line}" if line else file
    return f"{at}: {_thing(problem.path, data)}: got {problem.found}, expected {problem.expected}"


def _thing(path: Path, data: Mapping) -> str:
    """`box 'north', key heat_c` or `[site], key latitude`."""
    names = [step for step in path if isinstance(step, str)]
    table = list(path[:-1]) if len(path) > 1 and isinstance(path[-1], str) else list(path)
    key = f", key {path[-1]}" if len(path) > 1 and isinstance(path[-1], str) else ""
    if not table or (len(path) == 1 and not key and names[0] not in _TABLE_WORDS):
        return f"key {path[0]}" if path else "the file"
    if table[0] in _TABLE_WORDS and len(table) > 1:
        entry = value_at(data, tuple(table[:2]))
        label = (entry.get("name") or entry.get("id")) if isinstance(entry, Mapping) else None
        shown = f"{table[0]} {label!r}" if isinstance(label, str) else f"{table[0]} {int(table[1]) + 1}"
        rest = "".join(f" {step}" for step in table[2:] if isinstance(step, str))
        return f"{shown}{rest}{key}"
    words = ".".join(step for step in table if isinstance(step, str))
    number = next((f" entry {step + 1}" for step in table if isinstance(step, int)), "")
    return f"[{words}]{number}{key}"


def shown(value: Any, *, key: object = "") -> str:
    """A value as it was written, short enough for a line. What may hold a secret is never shown whole."""
    if _SECRET.search(str(key)) and not str(key).endswith("_file"):
        return "***"
    if isinstance(value, str) and "://" in value:
        return f"an address {value.split('://', 1)[0] or '?'}://***"
    if isinstance(value, str) and "@" in value:
        return "'***@***'"
    if isinstance(value, Mapping) or (isinstance(value, list) and value and isinstance(value[0], Mapping)):
        return "a table" if isinstance(value, Mapping) else "tables in [[ ]]"
    text = repr(value) if not isinstance(value, bool) else str(value).lower()
    return text if len(text) <= 60 else text[:57] + "..."


def nearest(word: str, known: Sequence[str]) -> str:
    """The known name most like a word, or an empty text."""
    folded = {name.lower(): name for name in known}
    found = difflib.get_close_matches(word.lower(), folded, n=1, cutoff=0.55)
    return folded[found[0]] if found else ""


def unknown_key(path: Path, value: Any, model: type[BaseModel]) -> Problem:
    """A key no table of ours has."""
    known = known_keys(model)
    near = nearest(str(path[-1]), known)
    expected = f"a known key; the nearest is {near}" if near else f"one of {', '.join(known)}"
    return Problem(path=path, found=shown(value, key=path[-1]), expected=expected)


def known_keys(model: type[BaseModel]) -> list[str]:
    """Keys of a table as a person may write them, °F spellings included."""
    keys: list[str] = []
    for name, info in model.model_fields.items():
        keys.append(name)
        if kind_of(info) is not None:
            keys.append(fahrenheit_key(name))
    return keys


def kind_of(info: FieldInfo) -> str | None:
    """`temperature` or `difference` for keys that may be written in °F."""
    extra = info.json_schema_extra
    return str(extra["is"]) if isinstance(extra, dict) and "is" in extra else None


def fahrenheit_key(name: str) -> str:
    """`heat_c` as `heat_f`."""
    return name.removesuffix("_c") + "_f"


def bounds(info: FieldInfo) -> tuple[float, float] | None:
    """The range of a number."""
    low = next((m.ge for m in info.metadata if getattr(m, "ge", None) is not None), None)
    high = next((m.le for m in info.metadata if getattr(m, "le", None) is not None), None)
    return None if low is None or high is None else (float(low), float(high))


def problems_of(
    error: ValidationError, data: Mapping, renamed: Mapping[Path, Path], root: type[BaseModel]
) -> list[Problem]:
    """pydantic's findings as problems, at the keys the person wrote."""
    found: dict[Path, Problem] = {}
    for item in error.errors(include_url=False, include_context=True):
        path = _without_tags(tuple(item["loc"]), data)
        written = renamed.get(path, path)
        found.setdefault(written, _problem(item, path, written, data, root))
    return [p for p in found.values() if not _is_misspelt_elsewhere(p, found)]


def _is_misspelt_elsewhere(problem: Problem, found: Mapping[Path, Problem]) -> bool:
    """A missing key whose misspelling stands beside it is one fault, not two."""
    return problem.found == NOTHING and any(
        other.path[:-1] == problem.path[:-1] and other.expected.endswith(f"the nearest is {problem.path[-1]}")
        for other in found.values()
    )


def _problem(item: Any, path: Path, written: Path, data: Mapping, root: type[BaseModel]) -> Problem:
    value = value_at(data, written)
    kind = item["type"]
    model, info = model_at(root, path)
    if kind == "extra_forbidden":
        return unknown_key(path, value, model or root)
    if kind == "missing":
        return Problem(path=path, found=NOTHING, expected="this key to be set")
    if kind in ("greater_than_equal", "less_than_equal", "finite_number") and info and bounds(info):
        return _out_of_range(written, value, info, in_f=written != path)
    if kind == "literal_error":
        listed = item["ctx"]["expected"].replace(" or ", ", ").split(",")
        choices = [part.strip().strip("'") for part in listed]
        near = nearest(value, choices) if isinstance(value, str) else ""
        tail = f"; the nearest is {near}" if near else ""
        return Problem(path=written, found=shown(value), expected=f"one of {', '.join(choices)}{tail}")
    if kind == "value_error":
        return Problem(path=written, found=shown(value), expected=str(item["ctx"]["error"]))
    if kind == "list_type" and path[0] in _TABLE_WORDS and len(path) == 1:
        expected = f"[[{path[0]}]], with two brackets: there may be several"
        return Problem(path=written, found=f"[{path[0]}]", expected=expected)
    words = _WORDS.get(kind) or item["msg"].removeprefix("Input should be ")
    return Problem(path=written, found=shown(value), expected=words)


_WORDS = {
    "float_type": "a number without quotes",
    "int_type": "a whole number without quotes",
    "int_from_float": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "list_type": "a list in [ ]",
    "model_type": "a table",
    "model_attributes_type": "a table",
}


def _out_of_range(path: Path, value: Any, info: FieldInfo, *, in_f: bool) -> Problem:
    low, high = bounds(info)  # type: ignore[misc]
    kind, key = kind_of(info), str(path[-1])
    unit = {"_c": " °C", "_f": " °F", "_s": " seconds"}.get(key[-2:], "")
    unit = unit or next((f" {w}" for w in ("minutes", "hours", "days") if key.endswith("_" + w)), "")
    other = ""
    if kind and isinstance(value, int | float):
        as_c = c_from_f(value) if kind == "temperature" else difference_c_from_f(value)
        swapped = key[:-2] + ("_c" if in_f else "_f")
        if low <= (value if in_f else as_c) <= high:
            other = f"if it is {value:g} {'°C' if in_f else '°F'}, write {swapped} = {value:g}"
    if in_f:
        low, high = (f_from_c(low), f_from_c(high)) if kind == "temperature" else (low * 1.8, high * 1.8)
    return Problem(path=path, found=shown(value) + unit, expected=f"{low:g} to {high:g}{unit}", hint=other)


def _without_tags(loc: Path, data: Mapping) -> Path:
    """pydantic adds the names of union members to a path; the file has no such steps."""
    path: Path = ()
    for k, step in enumerate(loc):
        parent = value_at(data, path) if path else data
        is_last = k == len(loc) - 1
        is_key = isinstance(parent, Mapping) and isinstance(step, str) and (step in parent or is_last)
        is_index = isinstance(parent, list) and isinstance(step, int)
        if is_key or is_index or not path:
            path = (*path, step)
    return path


def model_at(root: type[BaseModel], path: Path) -> tuple[type[BaseModel] | None, FieldInfo | None]:
    """The model whose key the path ends in, and that key's field."""
    model: type[BaseModel] | None = root
    info: FieldInfo | None = None
    owner: type[BaseModel] | None = root
    for step in path:
        if isinstance(step, int):
            continue
        owner = model
        info = model.model_fields.get(step) if model else None
        model = _table_of(info.annotation) if info else None
    return owner, info


def _table_of(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in get_args(annotation):
        if (table := _table_of(inner)) is not None:
            return table
    return None
