"""A day without broker and network in accelerated time, then both are back at once.

Real: engine, sampler, outbox, store, HTTP push (the web server is not there, then there). Fakes: the clock,
moved by hand, the wire, and the broker: a real one that restarts is in `tests/edges/mqtt/test_connection.py`.
"""

from __future__ import annotations

import gc
import logging
import socket
import tempfile
from collections import Counter
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
from tests.bench.table import Figure
from tests.faults.season import DAY_S, GARDEN, ROW_S, START_S, Season, resident_mib

from propstick.app.live.delivery import WORTHLESS_AFTER_S
from propstick.edges.journal import Journal
from propstick.edges.push import AppriseChannel
from propstick.edges.readings import ReadingLog
from propstick.garden import Box, Probe
from propstick.ports import Delivery
from propstick.records import Notice, Reading
from propstick.testing import FakeBroker

NODE = "shed/air"
MOST_MIB = 16.0
BACKLOG_A_ROW = 200
"""As the broker sends no more than that unacknowledged."""


class Phone:
    """A push to a web server that is there or not; notes when each notice got through."""

    name = "phone"

    def __init__(self) -> None:
        self.is_there = True
        self.got: list[Notice] = []
        self.tries = 0
        with closing(socket.create_server(("127.0.0.1", 0))) as probe:
            # Nothing listens there once this is closed: a real refusal of a real connection.
            self._dead = AppriseChannel(f"json://127.0.0.1:{probe.getsockname()[1]}/", "phone")
        # The watch loads apprise in a process of its own; here its 20 MiB are no growth of the watch.
        self._dead.send(Notice(id="first", issued_s=0, boxes=(), kinds=("heat",), text="x"))

    def send(self, notice: Notice, *, link: str | None = None) -> Delivery:
        self.tries += 1
        if not self.is_there:
            return self._dead.send(notice, link=link)
        self.got.append(notice)
        return Delivery(ok=True)


class Away(Season):
    """The plot of `season.py` with a third box whose only probe is wireless."""

    def __init__(self, folder: Path) -> None:
        self.network = Phone()
        self.broker = FakeBroker()
        self.kept: list[Reading] = []
        self.is_away = False
        super().__init__(folder, seed=5)

    def _start(self):  # type: ignore[no-untyped-def]
        far = replace(
            GARDEN,
            boxes=(*GARDEN.boxes, Box(name="far")),
            probes=(*GARDEN.probes, Probe(id=NODE, box="far", place="air")),
        )
        self.settings = replace(self.settings, garden=far)
        assembly = super()._start()
        assembly.delivery._channels["phone"] = self.network
        assembly.sampler._inboxes = (self.broker,)
        return assembly

    def rows(self, seconds: int) -> None:
        """So long without any other fault."""
        for _ in range(seconds // ROW_S):
            now_s = int(self.clock.wall_s()) // ROW_S * ROW_S
            self.kept.append(Reading(NODE, now_s * 1000, 18.0 + now_s // ROW_S % 3 / 16))
            if not self.is_away:
                self.broker.put(*self.kept[:BACKLOG_A_ROW])
                del self.kept[:BACKLOG_A_ROW]
            watch = self.assembly.watch
            watch.do_row(watch._rows.next_row())
            self.assembly.delivery.work_once()


def away(hours: int = 24) -> list[Figure]:
    """Twelve hours in peace, so many without broker and network, then six with both."""
    logging.disable(logging.CRITICAL)  # each failed push is logged as it should be
    try:
        with tempfile.TemporaryDirectory() as name:
            season = Away(Path(name))
            season.rows(DAY_S // 2)
            gc.collect()
            early_mib, tries = resident_mib(), season.network.tries
            season.is_away, season.network.is_there = True, False
            from_s = int(season.clock.wall_s())
            season.rows(hours * 3600)
            gc.collect()
            late_mib, tries = resident_mib(), season.network.tries - tries
            season.is_away, season.network.is_there = False, True
            back_s = int(season.clock.wall_s())
            before = len(season.network.got)
            season.rows(DAY_S // 4)
            figures = _judged(
                season, from_s, back_s, season.network.got[before:], tries, late_mib - early_mib
            )
            season.assembly.close()
            return figures
    finally:
        logging.disable(logging.NOTSET)


def _judged(
    season: Away, from_s: int, back_s: int, got: list[Notice], tries: int, grown_mib: float
) -> list[Figure]:
    journal = Journal(season.assembly.store, "plot")
    meanwhile = journal.notices(from_s, back_s)
    worthless = {n.id for n in meanwhile if back_s - n.issued_s > WORTHLESS_AFTER_S}
    ids = Counter(n.id for n in season.network.got)
    rang_old = [n for n in got if n.id in worthless]
    wanted = {n.id for n in meanwhile} - worthless
    readings = ReadingLog(season.assembly.store, "plot").columns(0, 2**43)
    mine = readings.column == readings.probes.index(NODE)
    at_s = readings.time_ms[mine] // 1000
    node_rows = len(np.unique(at_s[(at_s >= from_s) & (at_s < back_s)]))
    wired = np.unique(readings.time_ms[readings.column == readings.probes.index("na")] // 1000)
    gap_s = int(np.diff(wired[wired >= START_S]).max())
    alarms = journal.alarms(from_s, back_s)
    silent = [a for a in alarms if a["kind"] == "probe-silent" and a["box"] == "far"]
    doubled = len(alarms) - len({(a["box"], a["kind"], a["raised"]) for a in alarms})
    left = len(journal.outbox.undelivered())
    hours = (back_s - from_s) // 3600
    return [
        Figure(
            f"{hours} hours without broker and network: boxes with wired probes watched",
            "every row",
            f"longest gap {gap_s} s",
            gap_s == ROW_S,
        ),
        Figure(
            "the same: notices older than 6 hours when the network is back",
            "none rings",
            f"{len(rang_old)} of {len(worthless)} rang; {len(wanted)} younger, {len(wanted - set(ids))} lost",
            not rang_old and len(worthless) > 0 and wanted <= set(ids),
        ),
        Figure(
            "the same: notices rung twice, left in the outbox; tries meanwhile",
            "none, none; at most 20 a notice",
            f"{sum(ids.values()) - len(ids)}, {left}; {tries} for {len(meanwhile)}",
            sum(ids.values()) == len(ids) and not left and tries <= 20 * len(meanwhile),
        ),
        Figure(
            "the same: the silent node's alarm, alarms doubled",
            "one, none",
            f"{len(silent)}, {doubled} of {len(alarms)}",
            len(silent) == 1 and not doubled,
        ),
        Figure(
            "the same: what the node kept is stored, late",
            "all",
            f"{node_rows} of {(back_s - from_s) // ROW_S}",
            node_rows == (back_s - from_s) // ROW_S,
        ),
        Figure(
            "the same: memory grown", f"<= {MOST_MIB:.0f} MiB", f"{grown_mib:.0f} MiB", grown_mib <= MOST_MIB
        ),
    ]
