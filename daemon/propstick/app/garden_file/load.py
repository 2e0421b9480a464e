"""The file a grower edits, read once: `load(path)` gives frozen settings or one error that names all.

tomllib reads, pydantic checks each table, then the tables are checked against one another; only a
file with nothing wrong becomes `Settings`. Nothing is guessed and nothing is started meanwhile.
"""

from __future__ import annotations

import copy
import re
import tomllib
from pathlib import Path as FilePath
from typing import Any

from pydantic import ValidationError

from propstick.app.garden_file.checks import against_one_another
from propstick.app.garden_file.errors import Problem, kind_of, model_at, problems_of, refuse, shown
from propstick.app.garden_file.facts import settings_of
from propstick.app.garden_file.models import GardenTable
from propstick.app.garden_file.settings import DEFAULT_FILES, Settings
from propstick.app.garden_file.toml_lines import Lines, Path, value_at
from propstick.errors import ConfigError
from propstick.units import c_from_f, difference_c_from_f

DEEPEST = 8
"""Levels of tables and arrays a garden file may have; none of ours has more than four."""


def load(path: FilePath | str, *, probes_required: bool = True) -> Settings:
    """Reads one garden file.

    Args:
        path: The file.
        probes_required: Whether a garden without a probe in any box is an error. Replay takes probes from the
            recording, and `probes` is there to name the first ones: they pass False.

    Raises:
        ConfigError: the file cannot be read, or says anything that cannot be taken as written; the
            message has one line for each fault.
    """
    path = FilePath(path)
    return parse(_text_of(path), path, probes_required=probes_required)


def load_all(path: FilePath | str, *, probes_required: bool = True) -> tuple[Settings, ...]:
    """Reads one file, or every `*.toml` in a folder: one site each, told apart by name.

    Raises:
        ConfigError: as `load`; a folder without garden files; two files of one site's name.
    """
    path = FilePath(path)
    if not path.is_dir():
        return (load(path, probes_required=probes_required),)
    files = sorted(path.glob("*.toml"))
    if not files:
        raise ConfigError(f"{path}: got a folder without *.toml, expected one garden file or more")
    settings: list[Settings] = []
    faults: list[str] = []
    for file in files:
        try:
            settings.append(load(file, probes_required=probes_required))
        except ConfigError as error:
            faults.append(error.message)
    names: dict[str, FilePath] = {}
    for one in settings:
        first = names.setdefault(one.garden.site.name, one.path)
        if first != one.path:
            faults.append(
                f"{one.path}: [site], key name: got {one.garden.site.name!r}, "
                f"expected a name that {first} does not have"
            )
    if faults:
        raise ConfigError("\n".join(faults), hint=f"propstick check --garden {path}")
    return tuple(settings)


def find_file(given: str | None) -> FilePath:
    """The garden file to use: the one given, else `./garden.toml`, else the system's.

    Raises:
        ConfigError: none is there.
    """
    if given:
        return FilePath(given)
    for file in DEFAULT_FILES:
        if file.exists():
            return file
    raise ConfigError(
        f"garden file: got none, expected {' or '.join(str(f) for f in DEFAULT_FILES)}",
        hint="propstick setup asks and writes it; by hand: copy deploy/garden.toml; elsewhere: --garden FILE",
    )


def parse(text: str, path: FilePath, *, probes_required: bool = True) -> Settings:
    """`load` for a text that came from `path`; secrets' files are looked for beside it."""
    data = _data_of(text, path)
    lines = Lines(text)
    problems: list[Problem] = []
    metric, renamed = _metric(data, problems)
    try:
        tables = GardenTable.model_validate(metric)
    except ValidationError as error:
        problems += problems_of(error, data, renamed, GardenTable)
        # A table with a refused key is not held against others: half of it would mislead.
        refused = {problem.path[:-1] for problem in problems}
        rest = _without(metric, error)
        for problem in against_one_another(rest, lines, probes_required) if rest else ():
            if problem.path[:-1] not in refused:
                problems.append(_as_written(problem, renamed))
        raise refuse(str(path), problems, lines=lines, data=data) from None
    problems += [_as_written(p, renamed) for p in against_one_another(tables, lines, probes_required)]
    settings = None if problems else settings_of(tables, path, problems)
    if settings is None or problems:
        raise refuse(str(path), problems, lines=lines, data=data)
    return settings


def _data_of(text: str, path: FilePath) -> dict[str, Any]:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _not_toml(path, str(error)) from None
    except RecursionError:
        raise _not_toml(path, "brackets or dots nested without end") from None
    except ValueError:  # Python converts no number of thousands of digits
        raise _not_toml(path, "a number of thousands of digits") from None
    _check_plain(data, path)
    return data


def _check_plain(data: dict[str, Any], path: FilePath) -> None:
    """Refuses what tomllib takes and nothing after it could hold: deep nests, integers beyond 64 bits."""
    level: list[Any] = [data]
    for _ in range(DEEPEST):
        level = [
            item
            for value in level
            if isinstance(value, dict | list)
            for item in (value.values() if isinstance(value, dict) else value)
        ]
        if any(isinstance(item, int) and not -(2**63) <= item < 2**63 for item in level):
            raise _not_toml(path, "an integer of more than 64 bits")
    if level:
        raise _not_toml(path, f"tables nested more than {DEEPEST} deep")


def _not_toml(path: FilePath, message: str) -> ConfigError:
    match = re.search(r" ?\(at line (\d+), column (\d+)\)", message)
    at = f"{path}:{match[1]}, column {match[2]}" if match else f"{path}"
    what = message.replace(match[0], "") if match else message
    return ConfigError(
        f"{at}: got a text that is not TOML ({what}), expected key = value lines under [tables]",
        hint="text and times need quotes; a key or a [table] may stand only once",
    )


def _without(metric: dict[str, Any], error: ValidationError) -> GardenTable | None:
    """The tables less what pydantic refused, so that the rest can be checked in the same run.

    None where a key that must be there is among what was refused.
    """
    kept = copy.deepcopy(metric)
    for item in error.errors(include_url=False):
        *table, key = item["loc"]
        parent = value_at(kept, tuple(table))
        if item["type"] == "missing" or not isinstance(parent, dict):
            return None
        parent.pop(key, None)
    try:
        return GardenTable.model_validate(kept)
    except ValidationError:
        return None


def _text_of(path: FilePath) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise ConfigError(
            f"{path}: got bytes that are not UTF-8 at {error.start}, expected UTF-8 text",
            hint="save the file as UTF-8",
        ) from None
    except OSError as error:
        raise ConfigError(
            f"{path}: cannot be read ({error.strerror or error}), expected a garden file",
            hint="name it with --garden FILE",
        ) from None


# °F keys


def _metric(data: dict[str, Any], problems: list[Problem]) -> tuple[dict[str, Any], dict[Path, Path]]:
    """The tables with every °F key as its °C key, and which path stands for which written one."""
    renamed: dict[Path, Path] = {}

    def walk(value: Any, path: Path) -> Any:
        if isinstance(value, list):
            return [walk(item, (*path, k)) for k, item in enumerate(value)]
        if not isinstance(value, dict):
            return value
        done: dict[str, Any] = {}
        for key, item in value.items():
            metric_key, as_c = _as_c(path, key, item)
            if metric_key != key and metric_key in value:
                problems.append(_both(path, key, metric_key, value))
                continue
            if metric_key != key:
                renamed[(*path, metric_key)] = (*path, key)
            done[metric_key] = walk(as_c, (*path, key))
        return done

    return walk(data, ()), renamed


def _as_c(path: Path, key: str, value: Any) -> tuple[str, Any]:
    if not key.endswith("_f"):
        return key, value
    metric_key = key[:-2] + "_c"
    _, info = model_at(GardenTable, (*path, metric_key))
    kind = kind_of(info) if info else None
    if kind is None:
        return key, value
    if isinstance(value, bool) or not isinstance(value, int | float):
        return metric_key, value
    return metric_key, round(c_from_f(value) if kind == "temperature" else difference_c_from_f(value), 6)


def _both(path: Path, key: str, metric_key: str, value: dict[str, Any]) -> Problem:
    return Problem(
        path=(*path, key),
        found=f"{metric_key} = {shown(value[metric_key])} and {key} = {shown(value[key])}",
        expected=f"one of {metric_key} and {key}",
        hint=f"delete {key} or {metric_key}",
    )


def _as_written(problem: Problem, renamed: dict[Path, Path]) -> Problem:
    written = renamed.get(problem.path, problem.path)
    return Problem(path=written, found=problem.found, expected=problem.expected, hint=problem.hint)
