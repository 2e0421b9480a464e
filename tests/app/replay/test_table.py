"""The table: fits the terminal, says first what matters, in the person's unit and clock."""

from dataclasses import replace

import pytest

from propstick.app.replay.table import summary, table_of, worst_minute
from propstick.records import Alarm


def test_every_line_fits_eighty_columns(spring_report):
    """Whatever happened."""
    many = tuple(
        Alarm(id=f"x{k}", box="north", kind="probe-disagrees", state="normal", place="air", begun_s=0,
              raised_s=spring_report.from_s + k)
        for k in range(60)
    )  # fmt: skip
    for report in (spring_report, replace(spring_report, alarms=many)):
        assert max(map(len, table_of(report).splitlines())) <= 80


def test_the_first_sentence_says_what_happened(spring_report):
    """Boxes, alarms by kind, notices, and the worst minute."""
    first = " ".join(table_of(spring_report).splitlines()[:3])
    assert first.startswith("1 box: ")
    assert "2 × frost" in first
    assert f"{len(spring_report.notices)} notices would have been sent" in first
    assert worst_minute(spring_report) in summary(spring_report)


def test_times_are_local_and_the_unit_is_the_persons(spring_report):
    """Irish summer time is an hour ahead of UTC; 27 °C is 80.6 °F."""
    heat = next(a for a in spring_report.alarms if a.kind == "heat")
    line = next(line for line in table_of(spring_report).splitlines() if "  heat " in line)
    assert line.startswith("11 Apr 13:0")
    assert f"{heat.peak_c:.1f} °C" in line
    garden = replace(spring_report.garden, site=replace(spring_report.garden.site, unit="F"))
    assert f"{heat.peak_c * 1.8 + 32:.1f} °F" in table_of(replace(spring_report, garden=garden))


def test_many_alarms_are_summed_by_kind(spring_report):
    """Thirty lines are read, three hundred are not."""
    alarms = tuple(
        Alarm(id=str(k), box="north", kind="frost", state="normal", raised_s=spring_report.from_s + 3600 * k,
              begun_s=0, peak_c=-k / 10, returned_s=spring_report.from_s + 3600 * k + 60)
        for k in range(40)
    )  # fmt: skip
    text = table_of(replace(spring_report, alarms=alarms))
    assert "40     north  frost  11 Apr 2026  13 Apr 2026  −3.9 °C" in text


def test_flags_and_remarks_are_told_in_words(spring_report):
    """And an unknown site is admitted."""
    garden = replace(spring_report.garden, site=replace(spring_report.garden.site, latitude=None))
    report = replace(spring_report, garden=garden, untimed=4, remarks=("decimal commas",))
    text = table_of(report)
    assert "4 clock: with a time that cannot be right" in text
    assert "read: decimal commas" in text
    assert "--site LAT,LON,ZONE" in text


@pytest.mark.parametrize("name", ["alarms", "notices", "nights", "days", "skill"])
def test_an_empty_part_leaves_no_heading(spring_report, name):
    """Nothing to say, nothing said."""
    assert len(table_of(replace(spring_report, **{name: ()}))) < len(table_of(spring_report))


def test_a_box_without_an_air_probe_is_said_to_be_unwatched(spring_report):
    """No alarm of it is no good news; and where there is no box at all, that is said."""
    garden = spring_report.garden
    soil = tuple(probe for probe in garden.probes if (probe.box, probe.place) != ("north", "air"))
    text = " ".join(table_of(replace(spring_report, garden=replace(garden, probes=soil))).split())
    assert "No air probe in north: heat and frost there are not seen" in text
    bare = replace(garden, boxes=(), probes=tuple(p for p in garden.probes if p.box == "outside"))
    assert "nothing to warn of" in table_of(replace(spring_report, garden=bare))
    assert "No air probe" not in table_of(spring_report)


def test_alarms_of_very_many_boxes_are_summed_over_them(spring_report):
    """Forty boxes are one line a kind, with the worst and where it was."""
    alarms = tuple(
        Alarm(id=f"{kind}{k}", box=f"box{k}", kind=kind, state="normal", begun_s=0, peak_c=1 - k / 10,
              raised_s=spring_report.from_s + k)
        for k in range(40) for kind in ("frost", "no-shelter")
    )  # fmt: skip
    text = table_of(replace(spring_report, alarms=alarms))
    assert "40     40     frost       11 Apr 2026  11 Apr 2026  −2.9 °C  box39" in text
    assert len(text.splitlines()) < 60


def test_a_site_whose_clock_and_sun_disagree_is_doubted_at_once(spring_report):
    """Before any table: all of them would be of another night."""
    site = replace(spring_report.garden.site, longitude=96.26)
    report = replace(spring_report, garden=replace(spring_report.garden, site=site))
    assert "Look at the site: longitude 96.26" in " ".join(table_of(report).split()[:80])
    assert "Look at the site" not in table_of(spring_report)


def test_the_worst_of_a_frost_ahead_is_called_foretold(spring_report):
    """It was an expectation; the frost's own worst was felt by a probe."""
    alarms = tuple(
        Alarm(id=kind, box="north", kind=kind, state="normal", raised_s=spring_report.from_s, begun_s=0,
              peak_c=-3.7)
        for kind in ("frost-ahead", "frost")
    )  # fmt: skip
    lines = table_of(replace(spring_report, alarms=alarms)).splitlines()
    assert any("frost-ahead" in line and line.endswith("−3.7 °C foretold") for line in lines)
    assert any("  frost  " in line and line.endswith("−3.7 °C") for line in lines)
