"""A store in a temporary file, and small things to put into it."""

import os
from collections.abc import Callable, Iterator

import numpy as np
import pytest

from propstick.edges.database import Store, open_store
from propstick.grid import ReadingColumns
from propstick.records import Alarm, AlarmChange, Notice

os.environ.setdefault("W1THERMSENSOR_NO_KERNEL_MODULE", "1")  # tests import the library as a reference


@pytest.fixture
def store_url(tmp_path) -> str:
    return f"sqlite:///{tmp_path / 'store.db'}"


@pytest.fixture
def store(store_url) -> Iterator[Store]:
    """A fresh store, closed afterwards."""
    opened = open_store(store_url)
    yield opened
    opened.close()


@pytest.fixture
def make_columns() -> Callable[..., ReadingColumns]:
    """Readings of `probes` at every `step_s` from `start_s`, one value per (row, probe)."""

    def make(values, *, probes, start_s=1_770_000_000, step_s=60, flags=None) -> ReadingColumns:
        values = np.asarray(values, dtype=float).reshape(-1, len(probes))
        rows = len(values)
        bits = np.zeros(values.shape, np.uint16) if flags is None else np.asarray(flags, np.uint16)
        return ReadingColumns(
            probes=tuple(probes),
            time_ms=np.repeat((start_s + step_s * np.arange(rows, dtype=np.int64)) * 1000, len(probes)),
            column=np.tile(np.arange(len(probes), dtype=np.int32), rows),
            raw=values.reshape(-1),
            flags=bits.reshape(-1),
        )

    return make


@pytest.fixture
def make_change() -> Callable[..., AlarmChange]:
    """One step in the life of a heat alarm of the box `north`, raised at `raised_s`."""

    def make(raised_s=1_770_000_000, *, event="raised", at_s=None, **more) -> AlarmChange:
        alarm = Alarm(
            **{
                "id": f"north.heat.{raised_s}", "box": "north", "kind": "heat", "state": "unacknowledged",
                "raised_s": raised_s, "begun_s": raised_s - 120, "value_c": 28.126, "limit_c": 27.0, **more,
            }
        )  # fmt: skip
        return AlarmChange(raised_s if at_s is None else at_s, event, alarm)

    return make


@pytest.fixture
def make_notice() -> Callable[..., Notice]:
    def make(issued_s=1_770_000_000, **more) -> Notice:
        given = {
            "id": f"{issued_s}.north.heat", "issued_s": issued_s, "boxes": ("north",), "kinds": ("heat",),
            "text": "Open north: 28.1 °C",
        }  # fmt: skip
        return Notice(**{**given, **more})

    return make
