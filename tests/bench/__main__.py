"""The design's budgets, measured: `python -m tests.bench [NAME ...]` prints a table.

Times are ratios against a floor measured in the same run, so that a slow or busy machine does not
turn a good result bad. Everything runs on real files in a temporary folder.
"""

from __future__ import annotations

import sys
from datetime import date

from tests.bench import engine, process, service, store
from tests.bench.table import Figure, show

BENCHES = {
    "season": engine.season,
    "season-model": engine.season_with_model,
    "live": engine.live_row,
    "probes": process.probes,
    "push": process.push,
    "memory": process.memory,
    "cpu": process.cpu,
    "written": store.written,
    "size": store.size,
    "commands": process.commands,
    "now": service.now,
    "history": service.history,
}


def main(names: list[str]) -> int:
    unknown = sorted(set(names) - set(BENCHES))
    if unknown:
        print(f"bench: got {', '.join(unknown)}, expected some of {', '.join(BENCHES)}", file=sys.stderr)
        return 2
    figures: list[Figure] = []
    for name, bench in BENCHES.items():
        if names and name not in names:
            continue
        print(f"measuring {name} ...", file=sys.stderr, flush=True)
        figures.extend(bench())
    print(f"Measured {date.today().isoformat()}\n")
    print(show(figures))
    return 0 if all(figure.holds for figure in figures) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
