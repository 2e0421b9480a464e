"""A garden whose watch lived one cold night on real SQLite; each test gets the service on a copy of it."""

import math
import shutil
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from propstick.app.garden_file.settings import ApiSettings, Settings, StoreSettings
from propstick.app.live.wiring import assemble
from propstick.edges.database import open_store
from propstick.edges.sowings import Sowings
from propstick.garden import Box, Garden, Person, Probe, Site
from propstick.limits import Limits
from propstick.testing import FakeBus, FakeChannel, HandClock
from propstick_api.app import build
from propstick_api.deps import Site as OpenSite

START_S = 1_776_002_400  # 2026-04-12T14:00:00Z, a Sunday
STEP_S = 300
ROWS = 18 * 12
"""Until eight in the morning."""
NIGHT = "2026-04-12"
GARDEN = Garden(
    site=Site(name="plot", latitude=53.35, longitude=-6.26, zone="Europe/Dublin"),
    person=Person(),
    boxes=(Box(name="north", spot="wall", limits=Limits(frost_c=1.0)), Box(name="lane")),
    probes=(
        Probe(id="na", box="north", place="air", correction_c=0.5),
        Probe(id="ns", box="north", place="soil"),
        Probe(id="node1/air", box="lane", place="air"),
        Probe(id="oa", box="outside", place="air"),
    ),
    step_s=STEP_S,
)


def weather(row_s):
    """Falls from 14 °C to -3 °C outside by six in the morning; north is a degree or two warmer."""
    hour = (row_s - START_S) / 3600
    outside = 5.5 + 8.5 * math.cos(math.pi * hour / 15)
    values = {"oa": outside, "na": outside + 1.5, "ns": 9.0 - hour / 10, "node1/air": outside + 4.0}
    # The lowest bit keeps moving, as a probe's does.
    return {probe: round(value * 16 + (row_s // STEP_S) % 2) / 16 for probe, value in values.items()}


class Rig:
    """The service of one garden, and its watch when it is to do another row."""

    def __init__(self, folder, *, clock_s, api=None):
        self.settings = Settings(
            garden=GARDEN,
            store=StoreSettings(url=f"sqlite:///{folder}/w.db"),
            api=api or ApiSettings(),
            path=folder / "garden.toml",
        )
        self.clock = HandClock(clock_s)
        self.row_s = clock_s // STEP_S * STEP_S
        self.channel = FakeChannel()
        self._open = []

    def client(self, **changes):
        """A browser on this machine, with the service running behind it."""
        settings = replace(self.settings, api=replace(self.settings.api, **changes))
        client = TestClient(build(settings, clock=self.clock), base_url="http://localhost")
        client.__enter__()
        self._open.append(client)
        return client

    def site(self):
        """The store, open, as the routes have it."""
        return OpenSite(open_store(self.settings.store.url), self.settings)

    def live_rows(self, rows=1, **changes):
        """The watch starts, does some rows and stops."""
        settings = replace(self.settings, api=replace(self.settings.api, **changes))
        assembly = assemble(
            settings, clock=self.clock, buses=lambda: [FakeBus(source=weather)],
            channels={"phone": self.channel}, watches_file=False,
        )  # fmt: skip
        for _ in range(rows):
            row = assembly.watch._rows.next_row()
            assembly.watch.do_row(row)
            self.row_s = row.time_s
        assembly.delivery.work_once()
        assembly.close()

    def close(self):
        for client in self._open:
            client.__exit__(None, None, None)


@pytest.fixture(scope="session")
def lived(tmp_path_factory):
    """The folder in which the night was lived, and its last row."""
    folder = tmp_path_factory.mktemp("lived")
    rig = Rig(folder, clock_s=START_S)
    store = open_store(rig.settings.store.url)
    sowings = Sowings(store, "plot")
    sowings.add({"crop": "lettuce", "box": "north", "sown": "2026-04-01", "note": "<b>bold</b>"}, by="test",
                at_s=START_S)  # fmt: skip
    sowings.add({"crop": "radish", "box": "outside", "sown": "2026-04-12"}, by="test", at_s=START_S)
    store.close()
    rig.live_rows(ROWS)
    return folder, rig.row_s


@pytest.fixture
def rig(lived, tmp_path):
    """The garden the morning after, twenty seconds past the last row."""
    folder, row_s = lived
    shutil.copy(folder / "w.db", tmp_path / "w.db")
    made = Rig(tmp_path, clock_s=row_s + 20)
    yield made
    made.close()


@pytest.fixture
def client(rig):
    """A browser on the Pi itself."""
    return rig.client()
