"""Alarms over HTTP: the objects of the contract, and answers that the watch carries out."""

import io
import json

import pytest

from propstick.edges.export import write_alarms

FROST = "north.frost.20260413T015000Z"
OVER = "north.frost-ahead.20260412T222500Z"


def test_open_alarms_are_those_of_the_live_view(client):
    """Without a stretch: what stands now."""
    listed = client.get("/v1/alarms").json()
    assert [a["id"] for a in listed["alarms"]] == [FROST]
    assert [a["id"] for a in client.get("/v1/now").json()["alarms"]] == [FROST]


def test_a_stretch_gives_the_objects_of_the_export(rig, client):
    """`propstick export --alarms` and GET /v1/alarms say the same."""
    out = io.StringIO()
    write_alarms(rig.site().journal, out, from_s=1_775_952_000, to_s=1_776_124_800)
    listed = client.get("/v1/alarms", params={"from": "2026-04-12T00:00:00Z", "to": "2026-04-14T00:00:00Z"})
    assert listed.json()["alarms"] == json.loads(out.getvalue())
    assert {a["kind"] for a in listed.json()["alarms"]} >= {"frost", "frost-ahead"}


def test_a_limit_keeps_the_newest_and_says_so(client):
    """Bounded answers."""
    whole = client.get("/v1/alarms?from=2026-04-12").json()["alarms"]
    part = client.get("/v1/alarms?from=2026-04-12&limit=1").json()
    assert part == {"alarms": whole[-1:], "more": True}


@pytest.mark.slow
def test_acknowledge_is_a_request_the_watch_carries_out(rig, client):
    """202 and where to look; after the next row the alarm is acknowledged."""
    asked = client.post(f"/v1/alarms/{FROST}/acknowledge")
    assert asked.status_code == 202
    assert asked.json()["state"] == "waiting"
    see = asked.headers["Location"]
    rig.live_rows()
    assert client.get(see).json()["state"] == "taken"
    assert client.get(f"/v1/alarms/{FROST}").json()["state"] == "acknowledged"


@pytest.mark.slow
def test_shelve_and_unshelve(rig, client):
    """Until then the alarm is not heard of; taken off the shelf it is back."""
    until = {"until": "2026-04-13T12:00:00+01:00"}
    assert client.post(f"/v1/alarms/{FROST}/shelve", json=until).status_code == 202
    rig.live_rows()
    shelved = client.get(f"/v1/alarms/{FROST}").json()
    assert (shelved["state"], shelved["shelved_until"]) == ("shelved", "2026-04-13T11:00:00Z")
    assert client.post(f"/v1/alarms/{FROST}/unshelve").status_code == 202
    rig.live_rows()
    assert client.get(f"/v1/alarms/{FROST}").json()["state"] == "unacknowledged"


def test_the_same_key_is_the_same_request(client):
    """A phone that asks again after a lost answer asks for nothing new."""
    once = {"Idempotency-Key": "tap-1"}
    ids = {client.post(f"/v1/alarms/{FROST}/acknowledge", headers=once).json()["id"] for _ in range(2)}
    assert len(ids) == 1


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/v1/alarms/nothing/acknowledge", 404),
        (f"/v1/alarms/{OVER}/acknowledge", 409),
        (f"/v1/alarms/{FROST}/shelve", 422),
    ],
)
def test_what_cannot_be_answered_is_refused(client, path, status):
    """No alarm, one that is over, no time."""
    refused = client.post(path)
    assert refused.status_code == status
    assert refused.json()["status"] == status


@pytest.mark.parametrize(
    "until",
    ["2026-04-13T12:00:00", "2020-01-01T00:00:00Z", "2026-06-01T00:00:00Z", "tomorrow", 5, None,
     "9999-12-31T23:59:59Z", "0001-01-01T00:00:00+14:00"],
)  # fmt: skip
def test_a_shelf_has_an_end_within_four_weeks(rig, client, until):
    """Anything else is 422 and leaves no request."""
    refused = client.post(f"/v1/alarms/{FROST}/shelve", json={"until": until})
    assert refused.status_code == 422
    assert rig.site().requests.pending() == []


@pytest.mark.parametrize(
    "query",
    ["from=0001-01-01", "to=9999-12-31", "from=2026-04-14&to=2026-04-12", "from=later", "limit=0",
     "limit=1000000000", "from=1990-01-01", "from=2026-02-30"],
)  # fmt: skip
def test_a_stretch_that_cannot_be_is_refused(client, query):
    """Problem details, 422."""
    refused = client.get(f"/v1/alarms?{query}")
    assert refused.status_code == 422
    assert refused.headers["content-type"] == "application/problem+json"
