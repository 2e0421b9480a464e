"""Push services that answer 500, never answer, or take a notice and lose it, beside one that works.

Real: apprise, HTTP on loopback, engine, outbox and store. Moved by hand: the clock.
"""

from __future__ import annotations

import logging
import math
import socket
import tempfile
import time
from collections import Counter
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from tests.bench.table import Figure
from tests.edges.conftest import WebReceiver
from tests.faults.season import GARDEN, ROW_S

from propstick.app.garden_file.settings import Settings, StoreSettings
from propstick.app.live.wiring import Assembly, assemble
from propstick.edges.push import AppriseChannel
from propstick.testing import FakeBus, HandClock

NOON_S = 1_790_251_200  # 2026-09-24T12:00:00Z
ESCALATE_MIN = 15
MUTE_S = 2.0
"""What one try at the mute service may cost: the address allows a second each way, and apprise its own."""


def push(minutes: int = 60) -> list[Figure]:
    """An hour with a hot box that nobody opens."""
    logging.disable(logging.CRITICAL)  # each failed push is logged as it should be
    good, broken = WebReceiver(), WebReceiver()
    broken.status = 500
    try:
        with (
            tempfile.TemporaryDirectory() as name,
            closing(socket.create_server(("127.0.0.1", 0), backlog=50)) as mute,
        ):
            addresses = {
                "a-mute": f"json://127.0.0.1:{mute.getsockname()[1]}/?cto=1&rto=1",
                "b-broken": f"json://127.0.0.1:{broken.port}/",
                "c-good": f"json://127.0.0.1:{good.port}/",
            }
            channels = {name: AppriseChannel(url, name) for name, url in addresses.items()}
            assembly = _assembled(Path(name), channels)
            waits_s = _lived(assembly, minutes, good)
            figures = _judged(assembly, good, broken, waits_s)
            assembly.close()
            return figures
    finally:
        logging.disable(logging.NOTSET)
        good.close()
        broken.close()


def _assembled(folder: Path, channels: dict[str, AppriseChannel]) -> Assembly:
    garden = replace(GARDEN, notices=replace(GARDEN.notices, escalation_minutes=(ESCALATE_MIN,)))
    settings = Settings(
        garden=garden, store=StoreSettings(url=f"sqlite:///{folder}/p.db"), path=folder / "garden.toml"
    )

    def warm(row_s: int) -> dict[str, float | None]:
        bit = (row_s // ROW_S % 3) / 16
        hot = 22.0 + 12.0 * math.sin(math.pi * min(row_s - NOON_S, 3600) / 7200) + bit
        return {"na": hot, "ns": 12.0 + bit, "la": 18.0 + bit, "oa": 12.0 + bit}

    return assemble(
        settings, clock=HandClock(NOON_S), buses=lambda: [FakeBus(source=warm)], channels=channels,
        watches_file=False,
    )  # fmt: skip


def _lived(assembly: Assembly, minutes: int, good: WebReceiver) -> list[float]:
    """Seconds of real time from a row with notices to their arrival at the service that works."""
    waits_s = []
    for _ in range(minutes):
        before = len(good.posts)
        assembly.watch.do_row(assembly.watch._rows.next_row())
        begun = time.perf_counter()
        assembly.delivery.work_once()
        if len(good.posts) > before:
            waits_s.append(time.perf_counter() - begun)
    return waits_s


def _judged(assembly: Assembly, good: WebReceiver, broken: WebReceiver, waits_s: list[float]) -> list[Figure]:
    notices = assembly.journal.notices(0, 2**33)
    wanted = Counter(notice.text for notice in notices)
    got = Counter(post["message"] for post in good.posts)
    again = [notice for notice in notices if notice.escalation]
    troubles = [a for a in assembly.journal.alarms(0, 2**33) if a["kind"] == "push-trouble"]
    left = assembly.journal.outbox.undelivered()
    waiting = {o.channel for o in left}
    return [
        Figure(
            "a mute and a broken push service beside a good one: the good one gets",
            "every notice, once",
            f"{sum(got.values())} of {len(notices)}",
            got == wanted and len(notices) > 0,
        ),
        Figure(
            "the same: a notice held up by the mute one",
            f"<= one try, {MUTE_S:.0f} s, however many wait",
            f"{max(waits_s, default=math.inf):.1f} s",
            max(waits_s, default=math.inf) <= 2 * MUTE_S,
        ),
        Figure(
            "the same: what the broken ones did not take is tried again, and said",
            "kept, push-trouble",
            f"{len(left)} waiting for {len(waiting)}, {len(broken.posts)} tries at the broken, "
            f"push-trouble {len(troubles)}",
            waiting == {"a-mute", "b-broken"} and len(broken.posts) > len(notices) and len(troubles) == 1,
        ),
        Figure(
            "a service that takes notices and loses them: nobody can know; what nobody answers is told again",
            f"after {ESCALATE_MIN} min, where a plan is set",
            f"{len(again)} told again",
            len(again) > 0,
        ),
    ]
