"""What check finds of a wireless probe, which speaks through the store."""

import numpy as np
import pytest

from propstick.app.checks import probes
from propstick.app.garden_file.load import parse
from propstick.app.sightings import sightings
from propstick.edges.database import open_store
from propstick.edges.readings import ReadingLog
from propstick.grid import ReadingColumns
from propstick.records import Reading

NOW_S = 1_784_000_000
GARDEN = """\
[site]
name = "lane"
[[box]]
name = "north"
[[probe]]
id = "node/t"
box = "north"
place = "air"
"""


@pytest.mark.parametrize(
    ("age_s", "every_s", "mark"),
    [(60, None, "ok"), (600, None, "look"), (600, 300, "ok"), (1500, 300, "look")],
)
def test_a_wireless_value_may_be_three_of_its_intervals_old(tmp_path, age_s, every_s, mark):
    every = f"every_s = {every_s}\n" if every_s else ""
    settings = parse(GARDEN + every, tmp_path / "garden.toml")
    wired = [Reading("28-00000000000b", NOW_S * 1000, 8.0)]

    store = open_store(f"sqlite:///{tmp_path / 'propstick.db'}")
    log = ReadingLog(store, "lane")
    log.bulk_add(
        ReadingColumns(
            probes=("node/t",),
            time_ms=np.array([NOW_S - age_s - 900, NOW_S - age_s]) * 1000,
            column=np.zeros(2, np.int32),
            raw=np.array([19.0, 21.5]),
            flags=np.zeros(2, np.uint16),
        )
    )
    found = sightings(settings.garden, wired, log=log, now_s=NOW_S)
    store.close()
    lines = {f.thing: f for f in probes.probes(settings, found, [], now_s=NOW_S)}
    assert lines["node/t"].mark == mark
    assert "21.5 °C" in lines["node/t"].found
