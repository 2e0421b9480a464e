"""Two daemons on one store: the second is refused, and takes over at once when the first is killed."""

from __future__ import annotations

import tempfile
import time
from contextlib import closing
from pathlib import Path

from tests.bench.table import Figure
from tests.faults.plot import STEP_S, Plot, ended, killed

from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.errors import StoreError

PATIENCE_S = 60.0
SOON_S = 20.0


def takeover(rounds: int = 5) -> list[Figure]:
    """Refused and taken over, so many times."""
    refused, waits_s = 0, []
    with tempfile.TemporaryDirectory() as name:
        plot = Plot(Path(name))
        try:
            first = plot.start()
            _row_after(plot, time.time())
            for _ in range(rounds):
                second = plot.start()
                refused += second.wait(PATIENCE_S) != 0
                killed(first)
                at_s = time.time()
                first = plot.start()
                _row_after(plot, at_s)
                waits_s.append(time.time() - at_s)
            assert ended(first) == 0
        finally:
            plot.close()
    return [
        Figure("a second daemon on the same store", "refused", f"{refused} of {rounds}", refused == rounds),
        Figure(
            "the first killed, another started: its first row stored",
            f"within {SOON_S:.0f} s",
            f"{max(waits_s):.1f} s at worst, rows every {STEP_S} s",
            max(waits_s) <= SOON_S,
        ),
    ]


def _row_after(plot: Plot, at_s: float) -> None:
    """Waits until a row later than that is stored."""
    until_s = time.time() + PATIENCE_S
    while time.time() < until_s:
        if plot.database.exists():
            try:
                with closing(open_store(f"sqlite:///{plot.database}", create=False)) as store:
                    if (Journal(store, "plot").last_row() or 0) > at_s:
                        return
            except StoreError:  # it is being made
                pass
        time.sleep(0.2)
    raise AssertionError((plot.folder / "watch.log").read_text()[-2000:])
