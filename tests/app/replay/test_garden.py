"""The garden of a replay: from columns or a file, with a site and settings of the moment."""

from datetime import date, time

import pytest

from propstick.app import recording
from propstick.app.replay.garden import garden_of, site_of, with_settings
from propstick.errors import InputError
from propstick.garden import Box, Garden, Person, Probe, Site, Sowing
from propstick.limits import Limits

TEXT = b"time,outside.air,lane.air,north.air.28-a,north.soil\n2026-04-12T18:00:00Z,4,9,9,8\n"
DAY = date(2026, 4, 12)
TWO = Garden(boxes=(Box(name="north"), Box(name="lane")))


def test_without_a_file_every_box_named_is_there_with_defaults_and_a_sowing():
    """Boxes in the order of the columns, every column a probe, a crop of unknown kind in each box."""
    garden = garden_of(recording.read(TEXT))
    assert garden.box_names == ("lane", "north")
    assert [p.id for p in garden.probes] == ["outside.air", "lane.air", "north.air.28-a", "north.soil"]
    assert not any(garden.known_empty(box, DAY) for box in garden.box_names)
    assert (garden.limits_for("lane", DAY).heat_c, garden.limits_for("lane", DAY).frost_c) == (27.0, 1.0)


def test_with_a_file_its_boxes_limits_and_corrections_hold():
    """The correction is for a column that names the probe; a place's own column needs none."""
    base = Garden(
        site=Site(name="plot", unit="F"),
        boxes=(Box(name="north", limits=Limits(heat_c=25)), Box(name="lane"), Box(name="shed")),
        probes=(
            Probe(id="28-a", box="north", place="air", correction_c=0.5),
            Probe(id="28-b", box="lane", place="air", correction_c=0.7),
        ),
        sowings=(Sowing(id="x", box="lane", cleared=date(2026, 4, 1)),),
    )
    garden = garden_of(recording.read(TEXT), base=base, site=site_of("50,1,UTC", unit="F"))
    assert {p.id: p.correction_c for p in garden.probes if p.correction_c} == {"north.air.28-a": 0.5}
    assert garden.limits_for("north", DAY).heat_c == 25
    assert (garden.site.name, garden.site.latitude, garden.site.unit) == ("plot", 50.0, "F")
    assert [garden.known_empty(b, DAY) for b in ("north", "lane", "shed")] == [False, True, False]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("53.35,-6.26,Europe/Dublin", (53.35, -6.26, "Europe/Dublin")),
        ("-33.9, 151.2, Australia/Sydney", (-33.9, 151.2, "Australia/Sydney")),
        ("0,0", (0.0, 0.0, None)),
    ],
)
def test_site(text, expected):
    """South and west are negative; the zone may be left out."""
    site = site_of(text, unit="C")
    assert (site.latitude, site.longitude, site.zone) == expected


@pytest.mark.parametrize(
    "text", ["", "53.35", "53.35;-6.26", "91,0,UTC", "0,181", "nan,0", "1,2,Mars/Base", "1,2,UTC,4"]
)
def test_site_refused(text):
    """One line."""
    with pytest.raises(InputError):
        site_of(text, unit="C")


def test_settings_reach_the_place_they_name():
    """A site's limit, a box's limit in °F, a person's hours, a reaction time."""
    garden = with_settings(
        TWO,
        ["heat_c=26", "lane.frost_f=35.6", "leaves=07:30", "back=17:45", "north.reaction_minutes=40",
         "on_delay_s=0", "deadband_f=1.8", "arm_opens_c=18"],
    )  # fmt: skip
    north, lane = (garden.limits_for(b, DAY) for b in ("north", "lane"))
    assert (north.heat_c, lane.heat_c, north.on_delay_s) == (26.0, 26.0, 0)
    assert (north.frost_c, lane.frost_c) == (None or north.frost_c, pytest.approx(2.0))
    assert north.deadband_c == pytest.approx(1.0)
    assert garden.person == Person(leaves=time(7, 30), back=time(17, 45))
    assert [b.reaction_minutes for b in garden.boxes] == [40, 20]
    assert [b.arm_opens_c for b in garden.boxes] == [18, 18]


def test_a_boxs_setting_goes_before_the_sites():
    """Whichever is named first."""
    for order in (["north.heat_c=24", "heat_c=26"], ["heat_c=26", "north.heat_c=24"]):
        garden = with_settings(TWO, order)
        assert [garden.limits_for(b, DAY).heat_c for b in ("north", "lane")] == [24, 26]


@pytest.mark.parametrize(
    ("pair", "words"),
    [
        ("heat_c", "BOX"),
        ("=3", "BOX"),
        ("heet_c=26", "heat_c"),
        ("shed.heat_c=26", "north, lane"),
        ("heat_c=warm", "heat_c=warm"),
        ("heat_c=99", "less than or equal to 50"),
        ("heat_f=warm", "number of °F"),
        ("heat_c=nan", "heat_c=nan"),
        ("north.leaves=07:00", "heat_c"),
        ("leaves=25:00", "time of day"),
        ("leaves=07:00", "both or neither"),
        ("on_delay_s=1.5", "on_delay_s"),
    ],
)
def test_settings_refused(pair, words):
    """The pair, what was found, what is expected."""
    with pytest.raises(InputError) as refused:
        with_settings(TWO, [pair])
    assert words in str(refused.value)


def test_one_setting_twice_is_refused():
    """Also once in each unit."""
    with pytest.raises(InputError, match="second time"):
        with_settings(TWO, ["heat_c=26", "heat_f=80"])
