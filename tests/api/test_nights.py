"""Nights over HTTP: the list, one as it was lived, its picture and its readings."""

from base64 import b64encode
from datetime import date, datetime, timedelta
from hashlib import sha256
from xml.etree import ElementTree

import numpy as np
import pytest
from astral import Observer
from astral.sun import sunrise, sunset

from propstick.app import recording

NIGHT = "2026-04-12"


def test_the_list_has_the_observed_minimum_and_what_was_said(client):
    """Outside fell to -3.0 °C by construction at five in the morning UTC, and north was 2 °C above."""
    (night,) = client.get("/v1/nights").json()["nights"]
    assert night["night"] == NIGHT
    boxes = {b["box"]: b for b in night["boxes"]}
    assert boxes["outside"]["observed_min_c"] == pytest.approx(-3.0, abs=0.07)
    assert boxes["north"]["observed_min_c"] == pytest.approx(-1.0, abs=0.07)
    assert boxes["north"]["first"]["issued"] < boxes["north"]["last"]["issued"]


def test_a_night_is_shown_as_it_was_issued(rig, client):
    """Forecasts and alarms of the store, not of a second run; curves beside them."""
    night = client.get(f"/v1/nights/{NIGHT}").json()
    stored = [f for f in rig.site().journal.issued("nights", 0, 2**33) if f.box == "north"]
    (north,) = [n for n in night["nights"] if n["box"] == "north"]
    assert north["forecasts"] == [f.to_json() for f in stored]
    assert [a["kind"] for a in night["alarms"]].count("frost") == 1
    assert night["limits"]["north"]["frost_c"] == 1.0
    curves = {(c["box"], c["place"]): c for c in night["curves"]}
    assert min(curves["north", "air"]["value"]) == pytest.approx(-1.0, abs=0.07)
    assert north["observed_min_c"] == min(curves["north", "air"]["value"])


def test_a_night_runs_from_an_hour_before_sunset_to_an_hour_after_sunrise(client):
    """Sun by another library (astral, from NOAA's equations), to a minute and a half."""
    night = client.get(f"/v1/nights/{NIGHT}").json()
    dublin = Observer(latitude=53.35, longitude=-6.26)
    sets, rises = sunset(dublin, date(2026, 4, 12)), sunrise(dublin, date(2026, 4, 13))
    hour = timedelta(hours=1)
    for key, expected in (
        ("sunset", sets),
        ("start", sets - hour),
        ("sunrise", rises),
        ("end", rises + hour),
    ):
        assert abs(datetime.fromisoformat(night[key]) - expected) < timedelta(seconds=90), key


def test_the_picture_is_one_svg_of_that_night(client):
    """Well-formed, without scripts, and with its numbers in words."""
    answer = client.get(f"/v1/nights/{NIGHT}/picture.svg")
    assert answer.headers["content-type"] == "image/svg+xml"
    root = ElementTree.fromstring(answer.text)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert not root.findall(".//{http://www.w3.org/2000/svg}script")
    assert "12 April 2026" in answer.text


@pytest.mark.slow
def test_the_picture_in_pixels(client):
    """A PNG by its signature (PNG, section 5.2)."""
    pytest.importorskip("resvg_py")
    assert client.get(f"/v1/nights/{NIGHT}/picture.png").content.startswith(b"\x89PNG\r\n\x1a\n")


def test_the_readings_come_back_as_a_recording(rig, client):
    """What is downloaded can be replayed: the same values, as CSV and as SenML."""
    answer = client.get(f"/v1/nights/{NIGHT}/readings.csv")
    assert answer.headers["content-disposition"] == f'attachment; filename="{NIGHT}.csv"'
    read = recording.read(answer.content)
    assert set(read.boxes) == {"north", "lane"}
    pack = recording.read(client.get(f"/v1/nights/{NIGHT}/readings.senml").content)
    for name in ("outside.air", "north.air", "north.soil", "lane.air"):
        values = [
            np.sort(r.columns.raw[r.columns.column == r.columns.probes.index(name)]) for r in (read, pack)
        ]
        np.testing.assert_array_equal(*values)
        assert len(values[0]) > 100


@pytest.mark.parametrize(
    ("path", "status"),
    [("2025-01-01", 404), ("2025-01-01/picture.svg", 404), ("2025-01-01/readings.csv", 404),
     ("0001-01-01", 422), ("9999-12-31", 422), ("2026-02-30", 422), ("last", 422), ("1e5", 422)],
)  # fmt: skip
def test_a_night_that_was_not_watched_is_refused(client, path, status):
    """404 where nothing is stored, 422 where it is no date that can be."""
    refused = client.get(f"/v1/nights/{path}")
    assert (refused.status_code, refused.headers["content-type"]) == (status, "application/problem+json")


@pytest.mark.parametrize("query", ["from=2026-04-13&to=2026-04-12", "from=0001-01-01", "to=9999-12-31",
                                   "from=2000-01-01", "from=x"])  # fmt: skip
def test_a_list_of_nights_that_cannot_be_is_refused(client, query):
    """422."""
    assert client.get(f"/v1/nights?{query}").status_code == 422


def test_the_pictures_own_style_is_allowed_and_no_other(client):
    """Its hash stands in the policy (CSP level 3, section 2.3.1), so that it also works inside a page."""
    answer = client.get(f"/v1/nights/{NIGHT}/picture.svg")
    styles = ElementTree.fromstring(answer.text).findall(".//{http://www.w3.org/2000/svg}style")
    hashes = [b64encode(sha256(style.text.encode()).digest()).decode() for style in styles]
    assert len(hashes) == 1
    assert f"style-src 'self' 'sha256-{hashes[0]}'" in answer.headers["content-security-policy"]


@pytest.mark.parametrize("asked", ["north shut 21:00", "attic closed 21:00", "north closed 12:30"])
def test_a_what_if_that_cannot_be_is_refused(client, asked):
    """Another word, a box there is none of, a time outside the night: said in words, none of it guessed."""
    refused = client.get(f"/v1/nights/{NIGHT}", params={"what_if": asked})
    assert refused.status_code == 422
    assert "expected" in refused.json()["detail"]
    assert client.get(f"/v1/nights/{NIGHT}").json()["what_if"] is None


def test_a_what_if_is_answered_beside_the_night(client):
    """Opened wide at nine in the evening (20:00 UTC): the object of the replay, from that minute on."""
    found = client.get(f"/v1/nights/{NIGHT}", params={"what_if": "north open 21:00"}).json()["what_if"]
    assert (found["box"], found["action"], found["at"]) == ("north", "open", "2026-04-12T20:00:00Z")
    assert found["low_c"] <= found["min_c"] <= found["high_c"]
    assert found["curve"][0]["time"] == found["at"]
