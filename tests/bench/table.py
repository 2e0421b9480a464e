"""A measured figure beside its target, and the table of many."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from time import perf_counter


@dataclass(frozen=True)
class Figure:
    """What was measured, in words, and whether it is within its budget."""

    what: str
    target: str
    measured: str
    holds: bool


def show(figures: Sequence[Figure]) -> str:
    """A table in the form DEVELOPERS.md keeps."""
    lines = ["| what | target | measured | |", "| --- | --- | --- | --- |"]
    lines += [f"| {f.what} | {f.target} | {f.measured} | {'ok' if f.holds else 'OVER'} |" for f in figures]
    return "\n".join(lines)


def run_named(what: str, parts: Mapping[str, Callable[[], Sequence[Figure]]], names: Sequence[str]) -> int:
    """Runs the named parts, or all, and prints their table; the status says whether all held."""
    unknown = sorted(set(names) - set(parts))
    if unknown:
        print(f"{what}: got {', '.join(unknown)}, expected some of {', '.join(parts)}", file=sys.stderr)
        return 2
    figures: list[Figure] = []
    for name, part in parts.items():
        if names and name not in names:
            continue
        print(f"{what}: {name} ...", file=sys.stderr, flush=True)
        figures.extend(part())
    print(f"Measured {date.today().isoformat()}\n")
    print(show(figures))
    return 0 if all(figure.holds for figure in figures) else 1


def best_of(times: int, run: Callable[[], object]) -> float:
    """Seconds of the quickest of several runs: the one least disturbed by others on the machine."""
    taken = []
    for _ in range(times):
        begun = perf_counter()
        run()
        taken.append(perf_counter() - begun)
    return min(taken)
