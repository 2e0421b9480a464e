"""The real daemon on a small disk of its own (tmpfs) that is really full, for a while and at a start.

Something else eats every byte that becomes free, as a log without end would. Needs the right to mount.
"""

from __future__ import annotations

import re
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import numpy as np
from tests.bench.table import Figure
from tests.faults.little_disk import PATIENCE_S, fill, little_disk, until
from tests.faults.plot import STEP_S, Plot, ended, killed

from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.maintenance import quick_check
from propstick.edges.readings import ReadingLog


def disk(full_s: float = 45.0) -> list[Figure]:
    """Full once with room kept back, full for good, dead and started meanwhile, and free again.

    Args:
        full_s: Seconds of each part; alarms come once a minute.
    """
    with little_disk() as made:
        if made is None:
            return [Figure("a really full disk", "warned, nothing lost", "not tried: may not mount", False)]
        return _lived(*made, full_s)


def _lived(plot: Plot, mount: Path, full_s: float) -> list[Figure]:
    watch = plot.start()
    until(lambda: plot.last_row_s() > 0)
    fill(mount / "once")
    once_s = time.time()
    time.sleep(full_s)
    seen_s = plot.last_row_s()
    killed(watch)
    kept_s = time.time() - plot.last_row_s()
    watch = plot.start()
    until(lambda: plot.last_row_s() > seen_s + STEP_S)
    with _eaten(mount):
        full_from_s = time.time()
        plot.air_c["lane"] = 32.0
        time.sleep(full_s)
        before = len(_warned(plot, full_from_s))
        waited_s = time.time() - plot.last_row_s()
        killed(watch)
        dead_s = time.time()
        watch = plot.start()
        plot.air_c["yard"] = -6.0
        time.sleep(full_s)
        is_up = watch.poll() is None
        after = len(_warned(plot, dead_s))
    waiting = int(re.findall(r"rows_waiting=(\d+)", (plot.folder / "watch.log").read_text())[-1])
    (mount / "once").unlink()
    free_s = time.time()
    until(lambda: plot.last_row_s() > free_s)
    assert ended(watch) == 0
    # The first row of the new life bears the grid's time just before it.
    born_s = dead_s - STEP_S
    stored, gone = _rows(plot, born_s, free_s), _rows(plot, full_from_s, born_s)
    with closing(open_store(f"sqlite:///{plot.database}")) as store:
        sound = quick_check(store) == ""
        notices = Journal(store, "plot").notices(0, 2**33)
    again = Counter(n.text for n in notices)
    said_s = min((n.issued_s for n in notices if "store-trouble" in n.kinds), default=2**33) - once_s
    told = [at - once_s for at, text in zip(plot.pushed_at, plot.pushes, strict=True) if _is_store(text)]
    told_s = min(told, default=float("inf"))
    doubled = sum(max(count - again[text], 0) for text, count in _texts(plot).items() if text in again)
    return [
        Figure(
            "a full disk: the person is told",
            f"decided within two rows ({2 * STEP_S} s), handed over after",
            f"decided {said_s:.1f} s, handed over {told_s:.1f} s after",
            said_s <= 2 * STEP_S and told_s <= PATIENCE_S,
        ),
        Figure(
            "the same: rows go on into the room kept back; lost by a kill then",
            "<= 60 s",
            f"{kept_s:.1f} s after {full_s:.0f} s",
            kept_s <= STEP_S * 2 + 2,
        ),
        Figure(
            "nothing left at all, every freed byte eaten: warnings still go out",
            "each",
            f"{before} in {full_s:.0f} s (no row stored for {waited_s:.0f} s), {after} after a start on it",
            before > 0 and after > 0 and is_up and waited_s > full_s / 2,
        ),
        Figure(
            "the same: rows that waited since that start stored once there is room",
            "all",
            f"{stored} of {waiting}; of those that waited at the kill {gone}",
            stored >= waiting > 0,
        ),
        Figure("the same: store sound, notices handed over twice", "sound, at most one a kill",
               f"{'sound' if sound else 'damaged'}, {doubled} in 2 kills", sound and doubled <= 2),
    ]  # fmt: skip


@contextmanager
def _eaten(mount: Path) -> Iterator[None]:
    """While inside, whatever becomes free is gone within hundredths of a second."""
    over = threading.Event()

    def eat() -> None:
        while not over.wait(0.01):
            fill(mount / "more")

    fill(mount / "more")
    for reserve in mount.glob("*.reserve"):
        reserve.unlink()  # as if given up long ago
    eater = threading.Thread(target=eat)
    eater.start()
    try:
        yield
    finally:
        over.set()
        eater.join()
        (mount / "more").unlink()


def _texts(plot: Plot) -> Counter[str]:
    return Counter(text.partition("\n")[0] for text in plot.pushes)


def _is_store(text: str) -> bool:
    return "disk" in text or "store" in text.lower()


def _warned(plot: Plot, since_s: float) -> list[str]:
    """Notices about the box since then, which is what the watch is for."""
    return [
        text
        for at, text in zip(plot.pushed_at, plot.pushes, strict=True)
        if at > since_s and not _is_store(text)
    ]


def _rows(plot: Plot, from_s: float, to_s: float) -> int:
    """Stored rows of that time, all five probes in each."""
    with closing(open_store(f"sqlite:///{plot.database}")) as store:
        readings = ReadingLog(store, "plot").columns(round(from_s * 1000), round(to_s * 1000))
    _, counts = np.unique(readings.time_ms, return_counts=True)
    return int(np.count_nonzero(counts == 5))
