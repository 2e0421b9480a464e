"""A bare spot in the season's report: what a loose probe there showed, out of the store."""

import numpy as np
import pytest

from propstick.app.season import season_report
from propstick.app.season_words import closing_sentences
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingColumns, ReadingLog
from propstick.garden import Garden, Obstacle, Probe, Site, Spot
from propstick.growing.spots import hidden
from propstick.records import GardenChanged, Outcome
from propstick.simulation.series import relax
from propstick.simulation.weather import invented
from propstick.times import DAY_S, local_date

SITE = Site(name="plot", latitude=51.5, longitude=-0.12, zone="Europe/London")
HOUSE = Obstacle(bearing_from_deg=60.0, bearing_to_deg=150.0, height_deg=50.0)
FROM_S = 1_775_001_600  # 2026-04-01T00:00:00Z
DAYS = 8
SHADE = Probe(id="n/shade", box="outside", place="air")
LOOSE = Probe(id="n/loose", box="site", place="air", spot="bench")
GARDEN = Garden(site=SITE, spots=(Spot(name="bench"), Spot(name="wall")), probes=(SHADE, LOOSE))


@pytest.fixture
def plot(tmp_path):
    """A store with eight days of shaded air, and of a probe that lies behind a house of a morning."""
    sky = invented(51.5, -0.12, start_s=FROM_S, days=DAYS, seed=5)
    day = local_date(FROM_S + 4 * DAY_S, SITE.zone)
    behind = hidden(sky.sun_elevation_deg, sky.sun_azimuth_deg, (HOUSE,), day=day)
    struck = np.where(behind, 0.0, sky.dni_w_m2) + 0.5 * sky.dhi_w_m2
    warm = sky.air_c + 7.0 * relax(struck / 1000.0, 6.0)
    time_ms = np.repeat(sky.time_s, 2) * 1000
    store = open_store(f"sqlite:///{tmp_path}/plot.db", migrate=True)
    ReadingLog(store, "plot").bulk_add(
        ReadingColumns(
            probes=(SHADE.id, LOOSE.id),
            time_ms=time_ms,
            column=np.tile(np.array([0, 1], dtype=np.int32), len(sky)),
            raw=np.round(np.stack([sky.air_c, warm], axis=1).ravel(), 2),
            flags=np.zeros(len(time_ms), dtype=np.uint16),
        )
    )
    yield store
    store.close()


def _at(store, day, garden=GARDEN):
    return season_report(store, garden, FROM_S + day * DAY_S)


@pytest.mark.slow
def test_a_week_of_a_loose_probe_tells_the_spot_s_sun(plot):
    """pvlib counts 6.9 h for this house and day (tests/growing/test_loose.py)."""
    report = _at(plot, DAYS)
    bench, wall = report.spots
    assert wall.loose is None
    assert bench.loose.sun.sun_h == pytest.approx(6.9, abs=0.7)
    told = bench.to_json()["loose_probe"]
    assert told["sun"]["sun_low_h"] <= 6.9 <= told["sun"]["sun_high_h"]
    (said,) = [line for line in closing_sentences(report) if line.startswith("Spot bench")]
    assert "A loose probe there: " in said
    assert " h of sun (" in said


@pytest.mark.slow
def test_two_days_are_not_enough_and_no_shade_is_said(plot):
    early = _at(plot, 2).spots[0].loose
    assert early.sun is None
    assert early.words.startswith("cannot say yet: ")
    bare = Garden(site=SITE, spots=GARDEN.spots, probes=(LOOSE,))
    assert _at(plot, DAYS, bare).spots[0].loose.words == "cannot say: no air probe in the shade outside"


@pytest.mark.slow
def test_a_probe_that_was_moved_on_counts_where_it_lay(plot):
    """Its week on the bench stays the bench's; the wall has had it for an hour."""
    moved = Garden(
        site=SITE, spots=GARDEN.spots,
        probes=(SHADE, Probe(id=LOOSE.id, box="site", place="air", spot="wall")),
    )  # fmt: skip
    journal = Journal(plot, "plot")
    for time_s, garden in ((FROM_S + 60, GARDEN), (FROM_S + DAYS * DAY_S - 3600, moved)):
        told = GardenChanged(time_s=time_s, garden=garden)
        journal.commit(row_s=time_s, readings=(), outcome=Outcome(), news=(told,))
    bench, wall = _at(plot, DAYS, moved).spots
    assert bench.loose.sun.sun_h == pytest.approx(6.9, abs=0.7)
    assert wall.loose.sun is None
