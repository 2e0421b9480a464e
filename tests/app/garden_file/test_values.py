"""What a garden file becomes."""

from datetime import time

import pytest
from tests.app.garden_file.garden_text import GOOD, LOOSE

from propstick.app.garden_file.load import load, parse
from propstick.errors import ConfigError
from propstick.garden import Garden
from propstick.limits import DEFAULT_LIMITS


def test_a_good_file_becomes_a_garden(written):
    settings = load(written(GOOD))
    garden = settings.garden
    assert (garden.site.name, garden.site.latitude, garden.site.zone) == ("lane", 52.35, "Europe/Dublin")
    assert garden.box_names == ("north",)
    assert garden.probes_at("north", "air")[0].id == "28-3c01b556e1a2"
    assert garden.step_s == 60
    assert settings.mqtt is None
    assert settings.push.targets == ()


def test_fahrenheit_is_converted_and_differences_without_the_offset(written):
    """NIST SP 811, B.8: t/°C = (t/°F - 32) / 1.8, so 80 °F is 26.67 °C, and a step of 1.8 °F one of 1 °C."""
    text = GOOD.replace('place = "air"', 'place = "air"\ncorrection_f = 0.9')
    limits = load(written(text + "[alarms]\nheat_f = 80\nfrost_f = 32\ndeadband_f = 1.8\n")).garden
    assert limits.limits.heat_c == pytest.approx(26.6667, abs=1e-4)
    assert limits.limits.frost_c == pytest.approx(0.0)
    assert limits.limits.deadband_c == pytest.approx(1.0)
    assert limits.probes[0].correction_c == pytest.approx(0.5)


def test_times_may_be_text_or_toml_times(written):
    person = load(
        written(GOOD + '[person]\nleaves = "7:30"\nback = 17:05:00\naway_days = ["sat"]\n')
    ).garden.person
    assert (person.leaves, person.back, person.away_days) == (time(7, 30), time(17, 5), frozenset({5}))


def test_box_alarms_stand_under_their_box(written):
    """TOML 1.0: `[box.alarms]` belongs to the last `[[box]]` above it."""
    text = GOOD.replace('name = "north"\n', 'name = "north"\n[box.alarms]\nheat_c = 26\n')
    box = load(written(text)).garden.box("north")
    assert box.limits.heat_c == 26.0
    assert box.limits.frost_c is None


def test_compass_words_become_bearings(written):
    text = GOOD.replace('name = "north"\n', 'name = "north"\nfaces = "south-west"\n')
    assert load(written(text)).garden.box("north").faces_deg == 225.0


def test_a_box_without_a_probe_is_fine_where_probes_come_later(written):
    file = written(GOOD + '[[box]]\nname = "south"\n')
    assert load(file, probes_required=False).garden.box_names == ("north", "south")


def test_a_helper_is_known_by_the_name_of_an_address(written):
    added = '[person]\nhelper = "sue"\n[push]\nurls = ["json://a/b", { name = "sue", url = "json://c/d" }]\n'
    targets = load(written(GOOD + added)).push.targets
    assert [(t.name, t.to) for t in targets] == [("phone", "person"), ("sue", "helper")]


def test_when_to_tell_is_the_engines_affair_and_reaches_it(written):
    added = (
        '[push]\nquiet_from = "22:00"\nquiet_until = "06:00"\nescalation_minutes = [15, 45]\n'
        "notify_return = true\nevening_before_minutes = 90\n"
    )
    notices = load(written(GOOD + added)).garden.notices
    assert (notices.quiet_from, notices.quiet_until) == (time(22), time(6))
    assert notices.escalation_minutes == (15, 45)
    assert notices.notify_return is True
    assert (notices.morning_before_minutes, notices.evening_before_minutes) == (30.0, 90.0)


def test_an_empty_text_is_a_garden_of_defaults(tmp_path):
    garden = parse("", tmp_path / "garden.toml").garden
    assert garden.boxes == ()
    assert garden.limits.over(DEFAULT_LIMITS) == DEFAULT_LIMITS
    assert garden == Garden()


def test_a_loose_probe_stands_on_a_spot_instead_of_in_a_box(written):
    probe = load(written(GOOD + LOOSE)).garden.probes[1]
    assert (probe.box, probe.spot, probe.is_loose, probe.where) == ("site", "lane", True, "spot lane")
    assert not load(written(GOOD + LOOSE)).garden.probes[0].is_loose


def test_a_box_that_lost_its_probe_keeps_no_other_from_being_watched(tmp_path):
    """Only a garden without a probe in any box is refused: there is nothing to watch."""
    text = 'site.name = "plot"\n[[box]]\nname = "south"\n[[box]]\nname = "north"\n'
    probe = '[[probe]]\nid = "28-000000000001"\nbox = "{box}"\nplace = "air"\n'
    found = parse(text + probe.format(box="north"), tmp_path / "garden.toml")
    assert found.garden.box_names == ("south", "north")
    with pytest.raises(ConfigError, match="no probe in any box"):
        parse(text + probe.format(box="outside"), tmp_path / "garden.toml")
