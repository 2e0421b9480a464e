"""A damaged store: set aside, and the watch goes on in a fresh file.

What is rescued is shown in `tests/edges/test_salvage.py`.
"""

import threading
from pathlib import Path

import pytest

from propstick.app.live.wiring import open_or_salvage
from propstick.edges.database import open_store
from propstick.edges.sowings import Sowings


@pytest.mark.slow
def test_a_damaged_file_is_set_aside_and_the_watch_begins_in_a_fresh_one(tmp_path):
    url = f"sqlite:///{tmp_path}/w.db"
    store = open_store(url)
    Sowings(store, "plot").add({"crop": "radish", "box": "north", "sown": "2026-03-01"}, by="test")
    store.close()
    file = Path(tmp_path / "w.db")
    damaged = bytearray(file.read_bytes())
    damaged[100:116] = b"\xff" * 16  # the root page of the list of tables
    file.write_bytes(bytes(damaged))
    fresh = open_or_salvage(url)
    for thread in threading.enumerate():
        if thread.name == "rescue":
            thread.join(10)
    assert [p.name for p in tmp_path.iterdir() if "damaged" in p.name]
    assert fresh.revision() is not None
    fresh.close()
