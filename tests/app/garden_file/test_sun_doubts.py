"""A sign left out of a longitude puts the sunset at breakfast; no real garden is doubted."""

import pytest

from propstick.app.garden_file.sun_doubts import clock_off_sun_h, doubt
from propstick.garden import Site

WINTER_S, SUMMER_S = 1_767_960_000, 1_783_598_400  # 9 January and 9 July 2026, noon UTC

# Longitudes of towns, rounded, and their zones of the IANA list (geographical facts, from memory).
GARDENS = [
    (-6.26, "Europe/Dublin"),
    (-8.5, "Europe/Madrid"),
    (28.0, "Europe/Helsinki"),
    (-74.0, "America/New_York"),
    (-164.0, "America/Anchorage"),
    (75.99, "Asia/Shanghai"),
    (76.0, "Asia/Urumqi"),
    (178.0, "Pacific/Auckland"),
    (-176.5, "Pacific/Chatham"),
    (-157.4, "Pacific/Kiritimati"),
    (172.9, "Pacific/Tarawa"),
    (-51.7, "America/Nuuk"),
    (151.2, "Australia/Sydney"),
]


@pytest.mark.parametrize(("longitude", "zone"), GARDENS)
@pytest.mark.parametrize("time_s", [WINTER_S, SUMMER_S])
def test_no_garden_on_land_is_doubted(longitude, zone, time_s):
    """From the widest stretched zones to both sides of the date line."""
    assert doubt(Site(latitude=50.0, longitude=longitude, zone=zone), time_s) == ""


@pytest.mark.parametrize(("longitude", "zone"), [(74.0, "America/New_York"), (-151.2, "Australia/Sydney")])
def test_a_wrong_sign_is_found(longitude, zone):
    """74° E has its noon at 12 UTC less 5 h, New York's clock at 12 UTC plus 5 h: ten hours apart."""
    said = doubt(Site(latitude=40.7, longitude=longitude, zone=zone), WINTER_S)
    assert zone in said
    if longitude == 74.0:
        assert "10 hours" in said


def test_what_is_not_known_is_not_doubted():
    """Without a zone or a longitude there is nothing to compare."""
    assert clock_off_sun_h(Site(zone="Europe/Dublin"), WINTER_S) is None
    assert doubt(Site(latitude=50.0, longitude=8.0), WINTER_S) == ""
