"""Briefs over HTTP."""

import pytest


def test_briefs_are_those_of_the_store(rig, client):
    """Evening and morning, oldest first, as they were sent."""
    found = client.get("/v1/briefs").json()
    stored = rig.site().journal.briefs(0, 2**33)
    assert found == {"briefs": [b.to_json() for b in stored], "more": False}
    assert [b["which"] for b in found["briefs"]] == ["evening", "morning"]


def test_a_limit_keeps_the_newest(client):
    """Bounded, and said so."""
    found = client.get("/v1/briefs?limit=1").json()
    assert ([b["which"] for b in found["briefs"]], found["more"]) == (["morning"], True)


@pytest.mark.parametrize(
    "query", ["limit=0", "limit=1000000000", "from=0001-01-01", "from=2026-05-01&to=2026-04-01"]
)
def test_what_cannot_be_asked_is_refused(client, query):
    """422."""
    assert client.get(f"/v1/briefs?{query}").status_code == 422
