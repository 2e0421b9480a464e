"""Sowings over HTTP."""

import pytest

NEW = {"crop": "kale", "box": "lane", "sown": "2026-04-02", "note": "from seed"}


def test_a_sowing_is_written_down_changed_taken_back_and_put_back(rig, client):
    """201 with its place; nothing is ever deleted, and every change is kept."""
    made = client.post("/v1/sowings", json=NEW)
    assert made.status_code == 201
    place = made.headers["Location"]
    assert client.patch(place, json={"first_up": "2026-04-10"}).json()["first_up"] == "2026-04-10"
    assert client.patch(place, json={"first_up": None}).json()["first_up"] is None
    assert client.delete(place).json()["removed"] is True
    assert made.json()["id"] not in [s["id"] for s in client.get("/v1/sowings").json()["sowings"]]
    assert client.get(place).json()["removed"] is True
    assert client.patch(place, json={"removed": False}).json() == {**made.json(), "removed": False}
    changes = rig.site().sowings.history(made.json()["id"])
    assert [sorted(c.fields) for c in changes[1:]] == [
        ["first_up"],
        ["first_up"],
        ["removed_s"],
        ["removed_s"],
    ]
    assert {c.by for c in changes} == {"page"}


def test_the_live_view_shows_a_new_sowing_with_its_box(client):
    """Without waiting for the watch."""
    client.post("/v1/sowings", json=NEW)
    client.portal.call(client.app.state.service.live.look)
    lane = client.get("/v1/now").json()["boxes"][1]
    assert [s["crop"] for s in lane["sowings"]] == ["kale"]


def test_the_same_key_is_the_same_sowing(client):
    """A form sent twice sows once."""
    once = {"Idempotency-Key": "form-7"}
    ids = {client.post("/v1/sowings", json=NEW, headers=once).json()["id"] for _ in range(2)}
    assert len(ids) == 1


@pytest.mark.parametrize(
    "change",
    [{"box": "est"}, {"crop": ""}, {"crop": "  "}, {"crop": 5}, {"sown": "2026-02-30"},
     {"sown": "0001-01-01"}, {"sown": "9999-12-31"}, {"first_up": "2026-01-01"}, {"sown": "2026-12-01"},
     {"first_up": "2026-12-01"}, {"first_pick": "2026-04-01"}, {"yield_g": -1},
     {"yield_g": 10**12}, {"yield_g": 1.5}, {"note": "x" * 2001}, {"colour": "green"}, {"note": "nul\x00"},
     {"removed": True}],
)  # fmt: skip
def test_what_cannot_be_sown_is_refused(client, change):
    """422 with what was expected; nothing is written down."""
    before = client.get("/v1/sowings?removed=true").json()
    refused = client.post("/v1/sowings", json={**NEW, **change})
    assert refused.status_code == 422
    assert client.get("/v1/sowings?removed=true").json() == before


@pytest.mark.parametrize("number", ["0", "-1", "99", "x", "1e3", str(10**30)])
def test_an_unknown_sowing_is_refused(client, number):
    """404 or 422 for each way to ask."""
    for ask in (client.get, client.delete):
        assert ask(f"/v1/sowings/{number}").status_code in (404, 422)
    assert client.patch(f"/v1/sowings/{number}", json={"note": "x"}).status_code in (404, 422)
