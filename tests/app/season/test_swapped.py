"""Two boxes change places in the recorded history: the box is told from its spot."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from propstick.app.season.report import season_report
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.garden import Box, Obstacle, Probe
from propstick.grid import ReadingColumns
from propstick.news import GardenChanged
from propstick.records import Outcome

pytestmark = pytest.mark.slow


def test_two_boxes_swapped_in_the_record_are_told_from_their_spots(world, tmp_path):
    """A leaky box in the sun, a tight one in shade, both shut; after a fortnight they change places in
    the garden file, which the watch records. Told apart: the sunny spot whoever stands there, and the
    tighter box; before the swap it says that it cannot."""
    module, _ = world
    begin, moved, end = (datetime(2013, *day, tzinfo=UTC) for day in ((3, 10), (3, 24), (4, 7)))
    wall, _, tree = module.SPOTS
    shade = Obstacle(bearing_from_deg=90.0, bearing_to_deg=200.0, height_deg=50.0)
    shady = replace(tree, obstacles=(shade,))
    leaky = replace(module.SPECS[0], name="north", leak_m3_h=2.5)
    tight = replace(module.SPECS[0], name="lane")
    made = module.weather(first=begin, last=end)
    halves = []
    for north_at, lane_at in ((wall, shady), (shady, wall)):
        specs = (replace(leaky, obstacles=north_at.obstacles), replace(tight, obstacles=lane_at.obstacles))
        halves.append(module.live(made, np.zeros((1, 2)), specs))
    cut = int(np.searchsorted(made.time_s, moved.timestamp()))
    air = np.concatenate([halves[0].air_c[:cut], halves[1].air_c[cut:]])
    columns = {"north.air": air[:, 0], "lane.air": air[:, 1], "outside.air": halves[0].outside_air_c}
    rows = slice(9, None, 10)
    store = open_store(f"sqlite:///{tmp_path / 'swap.db'}")
    ReadingLog(store, "spring").bulk_add(
        ReadingColumns(
            probes=tuple(columns),
            time_ms=np.repeat(halves[0].time_s[rows] * 1000, 3),
            column=np.tile(np.arange(3, dtype=np.int32), len(halves[0].time_s[rows])),
            raw=np.round(np.stack([one[rows] for one in columns.values()], axis=1), 2).ravel(),
            flags=np.zeros(3 * len(halves[0].time_s[rows]), dtype=np.uint16),
        )
    )

    def garden(north, lane):
        return replace(
            module.GARDEN,
            boxes=(Box(name="north", spot=north), Box(name="lane", spot=lane)),
            spots=(wall, shady),
            probes=tuple(Probe(id=one, box=one.removesuffix(".air"), place="air") for one in columns),
        )

    first, second = garden("wall", "tree"), garden("tree", "wall")
    journal = Journal(store, "spring")
    for when, now in ((begin, first), (moved, second)):
        time_s = int(when.timestamp())
        news = (GardenChanged(time_s=time_s, garden=now),)
        journal.commit(row_s=time_s, readings=(), outcome=Outcome(), news=news)
    before = season_report(store, first, int(moved.timestamp()) - 3600).apart
    assert "cannot be told apart yet" in before.words
    after = season_report(store, second, int(end.timestamp())).apart
    fresh = season_report(store, second, int(moved.timestamp()) + 2 * 86_400)
    siting = season_report(store, second, int(end.timestamp())).siting
    store.close()
    # Two days after the move nobody knows what the spots do with their new boxes; a fortnight on it is known.
    assert {one.hot_hours for one in fresh.siting.spots} == {None}
    assert all(one.nights <= 2 for one in fresh.siting.spots)
    assert not any(one.startswith("whether a warm box") for one in siting.unknown)
    assert {one.spot: one.boxes for one in siting.spots} == {"wall": ("lane",), "tree": ("north",)}
    print("spots", after.spot, "boxes", after.box)
    assert after.words == "wall has the most sun, whichever box stands there"
    assert after.spot["wall"] > 1.1 * after.spot["tree"]
    assert after.box["lane"] > after.box["north"]
