"""Boxes over HTTP: what a person told, and what was measured."""

import pytest

DAY = {"from": "2026-04-12T14:00:00Z", "to": "2026-04-13T08:00:00Z"}


@pytest.mark.parametrize(
    ("what", "body", "kind"),
    [
        ("lid", {"opening": 0.3}, "lid"),
        ("lid", {"opening": None}, "lid"),
        ("cover", {"on": True}, "cover"),
        ("hardening", {"on": True}, "hardening"),
        ("watered", None, "watered"),
        ("watered", {"at": "2026-04-10T07:30:00+02:00"}, "watered"),
        ("out-of-service", {"on": True}, "out-of-service"),
    ],
)
def test_what_a_person_did_becomes_a_request(rig, client, what, body, kind):
    """202, and the request lies in the store in the watch's own words."""
    asked = client.post(f"/v1/boxes/north/{what}", json=body)
    assert asked.status_code == 202
    (request,) = rig.site().requests.pending()
    assert (request.id, request.kind, request.by) == (asked.json()["id"], kind, "page")
    assert request.body == {"box": "north", **(body or {})}


@pytest.mark.slow
def test_a_told_lid_is_the_lid_of_the_next_row(rig, client):
    """All the way through the watch and back."""
    client.post("/v1/boxes/lane/lid", json={"opening": 0.25})
    rig.live_rows()
    lane = rig.site().journal.status()["boxes"][1]
    assert lane["lid"] == {"opening": 0.25, "from": "told"}


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        ("/v1/boxes/est/lid", {"opening": 0.3}, 404),
        ("/v1/boxes/outside/lid", {"opening": 0.3}, 404),
        ("/v1/boxes/north/lid", {"opening": 1.5}, 422),
        ("/v1/boxes/north/lid", {"opening": "half"}, 422),
        ("/v1/boxes/north/lid", {"opening": True}, 422),
        ("/v1/boxes/north/lid", {}, 422),
        ("/v1/boxes/north/lid", {"opening": 0.1, "more": 1}, 422),
        ("/v1/boxes/north/cover", {"on": "yes"}, 422),
        ("/v1/boxes/north/cover", [1], 422),
        ("/v1/boxes/north/fly", {}, 404),
    ],
)
def test_what_cannot_be_done_is_refused(rig, client, path, body, status):
    """No such box or act, a value of the wrong kind: problem details, and no request."""
    refused = client.post(path, json=body)
    assert (refused.status_code, refused.headers["content-type"]) == (status, "application/problem+json")
    assert rig.site().requests.pending() == []


def test_broken_json_and_wrong_method_are_problems_too(client):
    """422 and 405, the latter with the methods there are."""
    headers = {"Content-Type": "application/json"}
    assert client.post("/v1/boxes/north/lid", content=b"{", headers=headers).status_code == 422
    wrong = client.delete("/v1/boxes/north/lid")
    assert (wrong.status_code, wrong.headers["allow"]) == (405, "POST")
    assert wrong.headers["content-type"] == "application/problem+json"


def test_history_is_lowest_mean_and_highest_of_what_was_measured(rig, client):
    """Against the same sums made from the single readings, corrected by half a degree."""
    found = client.get("/v1/boxes/north/history", params={**DAY, "points": 6}).json()
    air = found["series"][0]
    readings = rig.site().readings.columns(1_776_002_400_000, 1_776_067_200_000, probes=["na"])
    bucket = (readings.time_ms - 1_776_002_400_000) // round(found["bucket_s"] * 1000)
    for k in range(len(found["time"])):
        raw = readings.raw[bucket == k] + 0.5
        expected = [raw.min(), raw.mean(), raw.max()]
        assert [air["min"][k], air["mean"][k], air["max"][k]] == pytest.approx(expected, abs=0.006)
    assert [s["place"] for s in found["series"]] == ["air", "soil"]


@pytest.mark.parametrize("points", [1, 7, 100, 2000])
def test_history_never_gives_more_than_asked(client, points):
    """Whatever is asked, at most so many buckets, all of one length, in order."""
    found = client.get("/v1/boxes/outside/history", params={**DAY, "points": points}).json()
    assert 1 <= len(found["time"]) <= points
    assert found["time"] == sorted(found["time"])
    assert all(len(s["mean"]) == len(found["time"]) for s in found["series"])


def test_history_of_nothing_is_null(client):
    """A year before the first reading: buckets, and nothing in them."""
    found = client.get("/v1/boxes/north/history?from=2025-01-01&to=2025-01-02&points=24").json()
    assert len(found["time"]) == 24
    assert found["series"][0]["mean"] == [None] * 24


@pytest.mark.parametrize(
    "query",
    ["points=0", "points=1000000000", "points=many", "from=0001-01-01", "to=9999-12-31T00:00:00Z",
     "from=2026-04-13&to=2026-04-12", "from=2020-01-01&to=2026-01-01", "from=%00", "from=2026-04-12T25:00"],
)  # fmt: skip
def test_history_refuses_what_cannot_be(client, query):
    """Years, spans and numbers out of reach."""
    assert client.get(f"/v1/boxes/north/history?{query}").status_code == 422


def test_history_of_an_unknown_box_names_the_known(client):
    """404."""
    refused = client.get("/v1/boxes/%3Cscript%3E/history")
    assert refused.status_code == 404
    assert "north, lane, outside" in refused.json()["detail"]
