"""What the season says of each box: head start, sun, heat, water."""

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest
from tests.app.season.asked import at

from propstick.app.season import words as season_words
from propstick.app.season.report import season_report
from propstick.app.season.water import reminder
from propstick.edges.journal import Journal
from propstick.edges.readings import ReadingLog
from propstick.garden import Probe
from propstick.grid import ReadingColumns
from propstick.growing.water import Moisture, WaterLost
from propstick.news import WateredTold
from propstick.records import Outcome

pytestmark = pytest.mark.slow


def test_heat_without_any_watch_is_no_clean_record(spring):
    """Readings alone, nothing ever issued: the page must not say that all was well."""
    assert "no watch was running" in season_words.warnings_sentence(at(spring, 4, 12))


def test_boxes_are_ahead_and_the_shut_one_pays_in_heat(spring):
    boxes = {one.box: one for one in at(spring, 4, 12).boxes}
    assert all(one.head_start.days > 0 for one in boxes.values())
    assert boxes["pump"].worth.hot_hours > boxes["north"].worth.hot_hours
    assert boxes["pump"].worth_words.startswith("the box has cost pump")


def test_the_sun_on_a_box_is_told_by_month(spring):
    """March and April of one box, longer days in April; a month of few days is left out."""
    early = {one.box: one for one in at(spring, 3, 20).boxes}["north"]
    late = {one.box: one for one in at(spring, 4, 20).boxes}["north"]
    assert [day.month for day, _ in late.sun_months] == [2, 3, 4]
    hours = dict(late.sun_months)
    assert hours[date(2013, 4, 1)] > hours[date(2013, 2, 1)]
    assert [day.month for day, _ in early.sun_months] == [2, 3]
    assert "in March" in " ".join(season_words.box_sentences(late))
    assert late.to_json()["sun"]["sun_h_by_month"].keys() == {"2013-02", "2013-03", "2013-04"}


def test_a_watering_told_starts_the_count_anew(spring):
    time_s = int(datetime(2013, 4, 8, 12, tzinfo=UTC).timestamp())
    Journal(spring.store, "spring").commit(
        row_s=time_s, readings=(), outcome=Outcome(), news=(WateredTold(time_s=time_s, box="north"),)
    )
    lost = {one.box: one.water for one in at(spring, 4, 12).boxes}
    assert lost["north"].was_told
    assert lost["north"].since == date(2013, 4, 8)
    assert lost["north"].lost_mm < lost["lane"].lost_mm


def test_a_box_reckoned_dry_is_named_in_the_brief_and_only_if_waterings_are_told(spring):
    def said(month, day):
        return reminder(
            spring.store, spring.garden, int(datetime(2013, month, day, 18, tzinfo=UTC).timestamp())
        )

    assert said(4, 12) == ""  # nobody has told any watering
    time_s = int(datetime(2013, 3, 28, 12, tzinfo=UTC).timestamp())
    told = WateredTold(time_s=time_s, box="north")
    Journal(spring.store, "spring").commit(row_s=time_s, readings=(), outcome=Outcome(), news=(told,))
    assert said(3, 29) == ""
    assert said(4, 12).startswith("Look whether north is dry: about ")
    assert "since 28 March." in said(4, 12)
    assert "lane" not in said(4, 12)


def test_a_moisture_probe_takes_the_place_of_the_estimate(spring):
    end_s = int(datetime(2013, 4, 12, 18, tzinfo=UTC).timestamp())
    time_ms = np.arange(end_s - 3 * 86_400, end_s, 600, dtype=np.int64) * 1000
    ReadingLog(spring.store, "spring").bulk_add(
        ReadingColumns(
            probes=("n/wet",),
            time_ms=time_ms,
            column=np.zeros(len(time_ms), dtype=np.int32),
            raw=np.full(len(time_ms), 14.0),
            flags=np.zeros(len(time_ms), dtype=np.uint16),
        )
    )
    wet = Probe(id="n/wet", box="north", place="moisture")
    garden = replace(spring.garden, probes=(*spring.garden.probes, wet))
    water = {one.box: one.water for one in season_report(spring.store, garden, end_s).boxes}
    assert isinstance(water["north"], Moisture)
    assert water["north"].is_due
    assert water["north"].words() == "dry: its moisture probe says 14 %, limit 20 %"
    assert isinstance(water["lane"], WaterLost)
