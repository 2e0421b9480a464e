"""The design's budgets, measured: `python -m tests.bench [NAME ...]` prints a table.

Times are ratios against a floor measured in the same run, so that a slow or busy machine does not
turn a good result bad. Everything runs on real files in a temporary folder.
"""

from __future__ import annotations

import sys

from tests.bench import engine, process, service, store
from tests.bench.table import run_named

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


if __name__ == "__main__":
    sys.exit(run_named("bench", BENCHES, sys.argv[1:]))
