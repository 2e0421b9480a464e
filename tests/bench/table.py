"""A measured figure beside its target, and the table of many."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
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


def best_of(times: int, run: Callable[[], object]) -> float:
    """Seconds of the quickest of several runs: the one least disturbed by others on the machine."""
    taken = []
    for _ in range(times):
        begun = perf_counter()
        run()
        taken.append(perf_counter() - begun)
    return min(taken)
