"""What several commands need: the garden file's settings, the wires, tables for the terminal."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from propstick.app.garden_file.load import find_file, load
from propstick.app.garden_file.settings import Settings
from propstick.app.tables import table_lines
from propstick.units import Unit, shown_difference

if TYPE_CHECKING:
    from propstick.ports import ProbeBus


def settings_of(args: argparse.Namespace, *, probes_required: bool = True) -> Settings:
    """The garden file's settings.

    Raises:
        ConfigError: no file, or a bad one.
    """
    return load(find_file(args.garden), probes_required=probes_required)


def buses_of(settings: Settings) -> tuple[ProbeBus, ...]:
    """The 1-wire buses of the garden's tree."""
    from propstick.edges.onewire import find_buses

    return find_buses(settings.onewire.tree)


def print_json(value: Any) -> None:
    """One JSON document on standard output."""
    print(json.dumps(value, ensure_ascii=False, indent=2))


def print_table(headers: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """The table on standard output; plain text, piped or not."""
    for line in table_lines(headers, rows):
        print(line)


def add_json(parser: argparse.ArgumentParser) -> None:
    """The option every command with data has."""
    parser.add_argument(
        "--json", action="store_true", help="print JSON instead of a table (default: a table)"
    )


def degrees_apart(value_c: float, unit: Unit) -> str:
    """A difference with its sign: `+0.4 °C`."""
    return f"{shown_difference(value_c, unit):+.2f} °{unit}"


def say(text: str = "") -> None:
    """A line for the person beside the data: standard error, so that a pipe carries data only."""
    print(text, file=sys.stderr)
