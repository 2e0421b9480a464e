"""Loose probes on two bare spots for nine days of a measured spring: ranked, with the hours of shade."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from propstick.app.season import words as season_words
from propstick.app.season.report import season_report
from propstick.app.season.sheet import sheet
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.garden import Obstacle, Probe, Spot
from propstick.grid import ReadingColumns
from propstick.growing.spots import spot_day
from propstick.news import GardenChanged
from propstick.records import Outcome
from propstick.simulation.bare import bare_probe_c
from propstick.times import local

pytestmark = pytest.mark.slow

FIRST, LAST = datetime(2013, 3, 28, tzinfo=UTC), datetime(2013, 4, 6, tzinfo=UTC)
BARN = (Obstacle(bearing_from_deg=90.0, bearing_to_deg=150.0, height_deg=50.0),)
SPOTS = (Spot(name="bench", obstacles=()), Spot(name="barn", obstacles=()))
"""What stands there is not told: only the probes know."""
TRUE = {"bench": (), "barn": BARN}


def laid(kept, module, *, last=LAST, told_s=None):
    """The garden with a loose probe on each spot, its readings in the store."""
    made = module.weather(first=FIRST, last=last)
    probes = tuple(Probe(id=f"bare-{one.name}", box="site", place="air", spot=one.name) for one in SPOTS)
    rows = slice(9, None, 10)
    for k, probe in enumerate(probes):
        said = bare_probe_c(made, TRUE[probe.spot], seed=k)[rows]
        ReadingLog(kept.store, "spring").bulk_add(
            ReadingColumns(
                probes=(probe.id,),
                time_ms=made.time_s[rows] * 1000,
                column=np.zeros(len(said), dtype=np.int32),
                raw=np.round(said, 2),
                flags=np.zeros(len(said), dtype=np.uint16),
            )
        )
    garden = replace(kept.garden, spots=(*kept.garden.spots, *SPOTS), probes=(*kept.garden.probes, *probes))
    if told_s is not None:
        journal = Journal(kept.store, "spring")
        for at_s, now in ((told_s - 86_400, kept.garden), (told_s, garden)):
            news = (GardenChanged(time_s=at_s, garden=now),)
            journal.commit(row_s=at_s, readings=(), outcome=Outcome(), news=news)
    return season_report(kept.store, garden, int(last.timestamp()))


def loose(report, name):
    return next(one.loose for one in report.spots if one.spot == name)


def test_two_spots_are_ranked_and_the_hour_of_shade_is_found(spring, world):
    report = laid(spring, world[0])
    barn, bench = loose(report, "barn").sun, loose(report, "bench").sun
    site = report.day
    place = {"latitude": 40.69, "longitude": -74.17, "zone": "America/New_York"}
    truth = spot_day(BARN, barn.day, **place)
    assert barn.share_low - 0.02 <= truth.share <= barn.share_high + 0.02  # the low sun is not judged
    assert bench.share > 0.95 > barn.share_high
    # By geometry the sun leaves the barn's corner at 150°: found within half an hour.
    begin = local(barn.stretches[0].begin_s, "America/New_York")
    assert barn.stretches[0].from_deg == pytest.approx(150.0, abs=9.0)
    print(f"barn {barn.share:.2f} ({barn.share_low:.2f} to {barn.share_high:.2f}), true {truth.share:.2f}; "
          f"bench {bench.share:.2f}; out of the shade at {begin:%H:%M}")  # fmt: skip
    said = season_words.closing_sentences(report)
    assert site == date(2013, 4, 5)
    assert any(line.startswith("By loose probes bench has the most sun, then barn with") for line in said)
    assert any("A loose probe there: " in line and "(bearing " in line for line in said)
    assert "By loose probes bench has the most sun" in sheet(report)
    kept = {one["spot"]: one["loose_probe"] for one in report.to_json()["spots"]}
    assert kept["wall"] is None
    assert kept["barn"]["sun"]["share"] == round(barn.share, 2)
    assert kept["barn"]["sun"]["stretches"][0]["from"].endswith("Z")


def test_two_days_are_too_few_and_it_says_so(spring, world):
    report = laid(spring, world[0], last=FIRST + timedelta(days=2))
    assert loose(report, "barn").sun is None
    assert loose(report, "barn").words.startswith("cannot say yet: ")
    assert "of 3 clear days so far" in loose(report, "barn").words


def test_days_before_the_probe_lay_there_do_not_count(spring, world):
    """The garden file puts it there on the third of April: two whole days since."""
    report = laid(spring, world[0], told_s=int(datetime(2013, 4, 3, 12, tzinfo=UTC).timestamp()))
    assert loose(report, "barn").sun is None
    assert "clear days so far" in loose(report, "barn").words


def test_without_a_probe_in_the_shade_outside_nothing_is_said(spring, world):
    bare = replace(
        spring, garden=replace(
            spring.garden, probes=tuple(p for p in spring.garden.probes if p.box != "outside")
        )
    )  # fmt: skip
    assert "no air probe in the shade outside" in loose(laid(bare, world[0]), "barn").words


def test_one_probe_carried_from_spot_to_spot_tells_of_both(spring, world):
    """A week on the bench, then a week by the barn: the same probe, as the garden file said of the time."""
    module, _ = world
    moved, end = datetime(2013, 4, 5, 12, tzinfo=UTC), datetime(2013, 4, 14, tzinfo=UTC)
    made = module.weather(first=FIRST, last=end)
    there = made.time_s >= moved.timestamp()
    said = np.where(there, bare_probe_c(made, BARN, seed=3), bare_probe_c(made, (), seed=3))
    rows = slice(9, None, 10)
    ReadingLog(spring.store, "spring").bulk_add(
        ReadingColumns(
            probes=("bare",), time_ms=made.time_s[rows] * 1000,
            column=np.zeros(len(said[rows]), dtype=np.int32), raw=np.round(said[rows], 2),
            flags=np.zeros(len(said[rows]), dtype=np.uint16),
        )
    )  # fmt: skip
    journal = Journal(spring.store, "spring")
    for spot, when in (("bench", FIRST), ("barn", moved)):
        probe = Probe(id="bare", box="site", place="air", spot=spot)
        garden = replace(
            spring.garden, spots=(*spring.garden.spots, *SPOTS), probes=(*spring.garden.probes, probe)
        )
        at_s = int(when.timestamp())
        news = (GardenChanged(time_s=at_s, garden=garden),)
        journal.commit(row_s=at_s, readings=(), outcome=Outcome(), news=news)
    report = season_report(spring.store, garden, int(end.timestamp()))
    bench, barn = loose(report, "bench").sun, loose(report, "barn").sun
    assert bench.day == date(2013, 4, 5)
    assert barn.share_high < bench.share_low
