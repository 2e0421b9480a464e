"""What the store writes and how big it gets."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import numpy as np
from tests.bench.season import START_S, STEP_S, garden, stored, values
from tests.bench.table import Figure

from propstick.app.live.watch import CHECKPOINT_S
from propstick.blocks import Block
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.engine import snapshot
from propstick.engine.pipeline import advance, begin
from propstick.records import Reading


def size() -> list[Figure]:
    with tempfile.TemporaryDirectory() as folder:
        days = 30
        store, _log, _ = stored(Path(folder), days)
        count = days * 1440 * 16
        store.close()
        bytes_each = sum(f.stat().st_size for f in Path(folder).iterdir()) / count
    return [Figure("database", "<= 24 bytes a reading", f"{bytes_each:.1f} bytes", bytes_each <= 24)]


def written() -> list[Figure]:
    """Bytes this process made the kernel write to the device, after the log has grown to its size."""
    plot = garden(7)
    ids = tuple(p.id for p in plot.probes)
    table = values(2, len(ids))
    rows, warm = 1440, 1440
    with tempfile.TemporaryDirectory(dir=_a_real_disk()) as folder:
        store = open_store(f"sqlite:///{folder}/w.sqlite")
        journal = Journal(store, "bench")
        state = begin(plot)
        begun = 0
        for k in range(warm + rows):
            if k == warm:
                begun = _written_bytes()
            time_s = START_S + STEP_S * (k + 1)
            block = Block(time_s, STEP_S, ids, table[k : k + 1], np.zeros((1, len(ids)), dtype=np.uint16))
            state, outcome = advance(state, block, ())
            readings = [Reading(p, time_s * 1000, float(v)) for p, v in zip(ids, table[k], strict=True)]
            checkpoint = snapshot.dump(state) if time_s % CHECKPOINT_S == 0 else None
            journal.commit(row_s=time_s, readings=readings, outcome=outcome, checkpoint=checkpoint,
                           status={"time": time_s})  # fmt: skip
        kib = (_written_bytes() - begun) / rows / 1024
        store.close()
    said = f"{kib:.1f} KiB a minute (write_bytes of the process, {rows} rows)"
    return [Figure("written in steady state, 16 probes", "<= 16 KiB a minute", said, kib <= 16)]


def _written_bytes() -> int:
    fields = dict(line.split(": ") for line in Path("/proc/self/io").read_text().splitlines())
    return int(fields["write_bytes"])


def _a_real_disk() -> str | None:
    """The temporary folder may be memory; the working folder is not."""
    return os.environ.get("PROPSTICK_BENCH_DISK", ".")
