"""Sixty days of the whole watch in accelerated time, something broken every few hours.

Real: engine, row clock, sampler threads, SQLite file, outbox. Fakes: the clock (moved by hand), the bus
and the phone, because their faults cannot be caused for real at this pace.
"""

from __future__ import annotations

import gc
import logging
import math
import os
import random
import tempfile
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import text
from tests.bench.table import Figure

from propstick.app.garden_file.settings import Settings, StoreSettings
from propstick.app.live.wiring import Assembly, assemble
from propstick.app.replay.run import alarms_of, run
from propstick.blocks import Flag
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.engine.pipeline import begin
from propstick.errors import StoreError
from propstick.garden import Box, Garden, Probe, Site
from propstick.ports import Delivery
from propstick.testing import FakeBus, FakeChannel, HandClock

START_S = 1_772_323_200  # 2026-03-01T00:00Z
DAY_S, ROW_S = 86_400, 60
GARDEN = Garden(
    site=Site(name="plot", latitude=52.0, longitude=0.0, zone="Europe/London"),
    boxes=(Box(name="north"), Box(name="lane")),
    probes=(
        Probe(id="na", box="north", place="air"),
        Probe(id="ns", box="north", place="soil"),
        Probe(id="la", box="lane", place="air"),
        Probe(id="oa", box="outside", place="air"),
    ),
)
_NUMBER = {probe.id: k for k, probe in enumerate(GARDEN.probes)}
FAULTS = ("vanish", "storm", "bus", "refuse", "clock", "die", "disk")
BYTES_A_READING = 24.0
BESIDE_MIB = 10
"""For forecasts, alarms, a handful of checkpoints and SQLite's log of writes."""


class Season:
    """The plot, what is broken right now, and what was really measured and told."""

    def __init__(self, folder: Path, *, seed: int) -> None:
        self.chance = random.Random(seed)
        self.settings = Settings(
            garden=GARDEN, store=StoreSettings(url=f"sqlite:///{folder}/s.db"), path=folder / "garden.toml"
        )
        self.file = folder / "s.db"
        self.clock = HandClock(START_S)
        self.phone = FakeChannel()
        self.bus = FakeBus(source=self._weather)
        self.sunny = [self.chance.random() for _ in range(400)]
        self.gone, self.until_s = "", dict.fromkeys(FAULTS, 0)
        self.measured, self.unsaved = bytearray(400 * DAY_S // ROW_S), bytearray(400 * DAY_S // ROW_S)
        self.faults: Counter[str] = Counter()
        self.assembly: Assembly = self._start()

    def _start(self) -> Assembly:
        return assemble(
            self.settings, clock=self.clock, buses=lambda: [self.bus], channels={"phone": self.phone},
            watches_file=False,
        )  # fmt: skip

    def _weather(self, row_s: int) -> dict[str, float | None]:
        day, hour = divmod(row_s - START_S, DAY_S)
        sun = max(math.sin(math.pi * (hour / 3600 - 7.0) / 11.0), 0.0) * self.sunny[int(day) % 400]
        outside = 6.0 - 5.0 * math.cos(2 * math.pi * (hour / 3600 - 3.0) / 24.0)
        bit = (row_s // ROW_S % 3) / 16
        values: dict[str, float | None] = {
            "oa": outside + bit, "na": outside + 2.0 + 30.0 * sun + bit, "ns": 9.0 + 3.0 * sun + bit,
            "la": outside + 1.0 + 18.0 * sun + bit,
        }  # fmt: skip
        if row_s < self.until_s["vanish"]:
            values.pop(self.gone)
        self.bus.flags = {}
        if row_s < self.until_s["storm"]:
            values["na"] = 85.0
            self.bus.flags = {"na": int(Flag.POWER_ON)}
        self.measured[(row_s - START_S) // ROW_S] |= _bits(values)
        return values

    def day(self) -> None:
        """A day of rows, with about five faults in it."""
        end_s = self.clock.wall_s() + DAY_S
        while self.clock.wall_s() < end_s:
            now_s = int(self.clock.wall_s())
            if self.chance.random() < 5 * ROW_S / DAY_S:
                self._break(self.chance.choice(FAULTS), now_s)
            self.bus.is_gone = now_s < self.until_s["bus"]
            watch = self.assembly.watch
            watch.do_row(watch._rows.next_row())
            if now_s < self.until_s["refuse"]:
                self.phone.answers.extend([Delivery(ok=False, detail="HTTP 500")] * 4)
            else:
                self.phone.answers.clear()
            self.assembly.delivery.work_once()
        self.forget()

    def forget(self) -> None:
        """The fakes keep every row they saw. Nobody asks, and the memory measured is to be the watch's."""
        self.bus.rows.clear()
        self.clock.waits.clear()
        self.phone.tried.clear()

    def _break(self, fault: str, now_s: int) -> None:
        self.faults[fault] += 1
        if fault == "die":
            # What waits in memory for a full disk goes with the process; nothing else may.
            for row in self.assembly.watch._backlog:
                names = [reading.probe for reading in row["readings"]]
                self.unsaved[(row["row_s"] - START_S) // ROW_S] |= _bits(names)
            self.assembly.sampler.stop()
            self.assembly.store.engine.dispose()
            self.clock.advance(self.chance.choice([5, 60, 600]))
            self.assembly = self._start()
        elif fault == "clock":
            self.clock.set_wall(self.clock.wall_s() + self.chance.choice([-600, -30, 30, 600]))
        elif fault == "disk":
            self._refuse_rows(self.chance.randrange(3, 40))
        else:
            self.gone = self.chance.choice(["na", "la", "oa", "ns"])
            self.until_s[fault] = now_s + self.chance.choice([600, 3600, 4 * 3600])

    def _refuse_rows(self, count: int) -> None:
        """The next commits fail, as on a full disk."""
        journal = self.assembly.watch._parts.journal
        if "commit" in vars(journal):
            return
        real, left = journal.commit, [count]

        def commit(**row: Any) -> Any:
            left[0] -= 1
            if left[0] >= 0:
                raise StoreError("store: no space left on the device")
            vars(journal).pop("commit", None)
            return real(**row)

        journal.commit = commit  # type: ignore[method-assign]


def sixty_days(days: int = 60, *, seed: int = 1) -> list[Figure]:
    """Lives them, and judges what is on the disk and what the phone got."""
    logging.disable(logging.CRITICAL)  # every fault is logged as it should be
    with tempfile.TemporaryDirectory() as name:
        season = Season(Path(name), seed=seed)
        resident, handles = [], []
        for _ in range(days):
            season.day()
            gc.collect()
            resident.append(resident_mib())
            handles.append(len(os.listdir("/proc/self/fd")))
        season.until_s = dict.fromkeys(FAULTS, 0)
        for _ in range(90):  # an hour and a half in peace: the outbox empties
            season.assembly.watch.do_row(season.assembly.watch._rows.next_row())
            season.phone.answers.clear()
            season.assembly.delivery.work_once()
        figures = _judged(season, days, resident, handles)
        season.assembly.close()
        return figures


def _judged(season: Season, days: int, resident: list[float], handles: list[int]) -> list[Figure]:
    store = season.assembly.store
    journal, log = Journal(store, "plot"), ReadingLog(store, "plot")
    readings = log.columns(0, 2**43)
    stored = bytearray(len(season.measured))
    for column, time_ms in zip(readings.column.tolist(), readings.time_ms.tolist(), strict=True):
        stored[(time_ms // 1000 - START_S) // ROW_S] |= _bits([readings.probes[column]])
    lost, waiting = (
        sum((m & ~s & keep).bit_count() for m, s, keep in zip(season.measured, stored, kept, strict=True))
        for kept in (bytes(255 - u for u in season.unsaved), season.unsaved)
    )
    measured = sum(mask.bit_count() for mask in season.measured)
    first_s, last_s = int(readings.time_ms.min()) // 1000, journal.last_row()
    state, said, _ = run(begin(GARDEN), readings, (), from_s=first_s, to_s=last_s)
    kinds = (".heat.", ".frost.", ".heat-ahead.", ".frost-ahead.")
    again = {alarm.id for alarm in alarms_of(said, state) if any(kind in alarm.id for kind in kinds)}
    kept = {a["id"] for a in journal.alarms(0, 2**33) if any(kind in a["id"] for kind in kinds)}
    notices = {notice.id for notice in journal.notices(0, 2**33)}
    told = Counter(notice.id for notice, _ in season.phone.sent)
    doubled = sum(count - 1 for count in told.values())
    early, late = np.max(resident[days // 6 : days // 3 + 1]), np.max(resident[-max(days // 6, 1) :])
    with store.read() as connection:
        pages = "SELECT sum(pgsize) FROM dbstat WHERE name IN ('readings', 'reading_hours')"
        size = connection.scalar(text(pages)) / max(len(readings), 1)
    whole_mib = sum(p.stat().st_size for p in season.file.parent.glob("s.db*")) / 2**20
    broken = ", ".join(f"{name} {count}" for name, count in sorted(season.faults.items()))
    return [
        Figure(
            f"{days} days with faults: readings lost",
            "none but what waits in memory for a full disk",
            f"{lost} and {waiting} of {measured:,} ({broken})",
            not lost,
        ),
        Figure(
            "the same: alarms beside a replay of the store",
            "the same",
            f"{len(kept - again)} more, {len(again - kept)} fewer of {len(again)}",
            kept == again,
        ),
        Figure(
            "the same: notices never handed over",
            "none",
            f"{len(notices - set(told))} of {len(notices)}",
            not notices - set(told),
        ),
        Figure(
            "the same: notices handed over twice",
            "at most one a death",
            f"{doubled} in {season.faults['die']} deaths",
            doubled <= season.faults["die"],
        ),
        Figure(
            "the same: resident memory",
            "flat: + 8 MiB at most",
            f"{early:.0f} MiB early, {late:.0f} MiB at the end",
            late <= early + 8.0,
        ),
        Figure(
            "the same: open files",
            "flat",
            f"{handles[days // 6]} early, {handles[-1]} at the end",
            handles[-1] <= handles[days // 6],
        ),
        Figure(
            "the same: bytes a reading; whole file, learnt state and log of writes and all",
            f"<= {BYTES_A_READING:.0f}; <= {BYTES_A_READING:.0f} a reading + {BESIDE_MIB} MiB",
            f"{size:.1f}; {whole_mib:.1f} MiB",
            size <= BYTES_A_READING and whole_mib <= BYTES_A_READING * len(readings) / 2**20 + BESIDE_MIB,
        ),
    ]


def _bits(probes: Iterable[str]) -> int:
    return sum(1 << _NUMBER[probe] for probe in probes)


def resident_mib() -> float:
    """Of this process."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20
