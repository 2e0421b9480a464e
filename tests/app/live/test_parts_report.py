"""What parts say of themselves: told when it lasts, logged once as it begins and once as it ends."""

import logging

import pytest

from propstick.app.live.parts_report import PartsReport
from propstick.testing import HandClock
from propstick.times import utc_text

START_S = 1_790_251_200


@pytest.fixture
def rig():
    """A report on a wire and a broker, whose troubles are set by hand; and its clock."""
    clock = HandClock(START_S)
    said = {"w1_bus_master1": "", "broker": ""}
    parts = {part: (lambda part=part: said[part]) for part in said}
    return PartsReport(parts, clock, now_s=clock.wall_s), said, clock


def test_a_trouble_is_told_from_the_second_row_with_its_beginning(rig):
    report, said, clock = rig
    said["broker"] = "not connected yet"
    assert report.look() == []
    clock.advance(60)
    said["broker"] = "no answer from 10.0.0.7:1883"
    assert report.look() == [
        {"part": "broker", "found": "no answer from 10.0.0.7:1883", "since": utc_text(START_S)}
    ]


def test_what_is_over_by_the_next_row_is_no_trouble(rig, caplog):
    report, said, clock = rig
    caplog.set_level(logging.INFO)
    said["broker"] = "not connected yet"
    report.look()
    said["broker"] = ""
    clock.advance(60)
    assert report.look() == []
    assert caplog.messages == []


def test_the_log_has_one_line_as_it_begins_and_one_as_it_ends(rig, caplog):
    report, said, clock = rig
    caplog.set_level(logging.INFO)
    said["w1_bus_master1"] = "may not start conversions"
    for _ in range(10):
        report.look()
        clock.advance(60)
    said["w1_bus_master1"] = ""
    assert report.look() == report.look() == []
    assert caplog.messages == [
        "part-trouble part=w1_bus_master1 reason='may not start conversions'",
        "part-well part=w1_bus_master1 after_s=600",
    ]


def test_a_trouble_that_comes_again_begins_anew(rig):
    report, said, clock = rig
    for trouble in ("connection lost", "", "connection lost"):
        said["broker"] = trouble
        report.look()
        clock.advance(60)
    (one,) = report.look()
    assert one["since"] == utc_text(START_S + 120)
