"""Wire, store and file seen together."""

from propstick.app.sightings import read_buses, sightings
from propstick.garden import Garden, Probe
from propstick.records import Reading
from propstick.testing import FakeBus

NAMED = Probe(id="a", box="north", place="air", correction_c=-0.5)
GARDEN = Garden(probes=(NAMED, Probe(id="b", box="north", place="soil")))


def test_probes_of_the_file_come_first_and_in_its_order():
    found = sightings(GARDEN, [Reading("z", 1000, 1.0), Reading("c", 1000, 2.0), Reading("b", 1000, 3.0)])
    assert [one.id for one in found] == ["a", "b", "c", "z"]
    assert [one.seen_on for one in found] == [None, "wire", "wire", "wire"]


def test_a_good_value_is_corrected_and_a_faulty_one_is_not():
    good, bad = Reading("a", 1000, 4.0), Reading("a", 1000, 85.0, flags=2)
    assert sightings(GARDEN, [good])[0].value_corrected == 3.5
    faulty = sightings(GARDEN, [bad])[0]
    assert faulty.flags == ("power-on",)
    assert faulty.value_corrected == 85.0


def test_a_bus_that_is_gone_does_not_hide_the_others():
    gone, fine = FakeBus("one", {"a": 1.0}), FakeBus("two", {"b": 2.0})
    gone.is_gone = True
    readings, troubles = read_buses([gone, fine], 60)
    assert [r.probe for r in readings] == ["b"]
    assert len(troubles) == 1
    assert "one" in troubles[0]
