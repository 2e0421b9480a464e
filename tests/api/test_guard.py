"""What stands before every route: Host, Origin, size, credential, headers, and faults of our own."""

import pytest

from propstick.edges.access import AccessBook
from propstick.edges.database import open_store
from propstick_api import guard

PHRASE = "wax arm and glass"


def _set_phrase(rig):
    store = open_store(rig.settings.store.url)
    AccessBook(store, "plot").set_passphrase(PHRASE, now_s=rig.clock.wall_s())
    store.close()


@pytest.fixture
def locked(rig):
    """The service of a garden with a pass phrase."""
    _set_phrase(rig)
    return rig.client()


@pytest.mark.parametrize(
    ("host", "status"),
    [("localhost:8460", 200), ("127.0.0.1", 200), ("[::1]:8460", 200), ("192.168.1.20:8460", 200),
     ("pi.local", 200), ("PI.LOCAL.", 200), ("garden.example", 200), ("evil.example", 400),
     ("localhost.evil.example", 400), ("", 400), ("local", 400), ("127.0.0.1.evil.example", 400)],
)  # fmt: skip
def test_only_our_own_names_are_answered(rig, host, status):
    """A stranger's name that was pointed at us is not: the page could be read through it."""
    client = rig.client(address="https://garden.example/frames")
    answer = client.get("/v1/now", headers={"Host": host})
    assert answer.status_code == status
    if status == 400:
        assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 202),
        ({"Origin": "http://localhost"}, 202),
        ({"Origin": "http://evil.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": "http://localhost:9999"}, 403),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
    ],
)
def test_another_sites_page_cannot_write(rig, client, headers, status):
    """RFC 6454; a browser says where a request comes from."""
    assert client.post("/v1/boxes/north/watered", headers=headers).status_code == status
    assert len(rig.site().requests.pending()) == (1 if status == 202 else 0)


def test_without_a_credential_nothing_is_shown_or_taken(locked):
    """401 for programs, the form for people; every path but those that are needed to get in."""
    for path in ("/v1/now", "/v1/alarms", "/metrics", "/v1/openapi.json", "/nope", "/v1/now/stream"):
        refused = locked.get(path)
        assert refused.status_code == 401, path
        assert refused.headers["www-authenticate"].startswith("Bearer")
    assert locked.post("/v1/boxes/north/watered").status_code == 401
    person = locked.get("/v1/nights", headers={"Accept": "text/html"}, follow_redirects=False)
    assert (person.status_code, person.headers["location"]) == (303, "/sign-in?next=/v1/nights")


def test_session_and_bearer_open_and_a_wrong_one_does_not(rig, locked):
    """The same token in either place; reading and writing alike."""
    token = rig.site().access.open_session("test", now_s=rig.clock.wall_s(), lasts_s=3600)
    assert locked.get("/v1/now", headers={"Authorization": f"Bearer {token}"}).status_code == 200
    assert locked.get("/v1/now", headers={"Authorization": f"Bearer {token}x"}).status_code == 401
    locked.cookies.set("propstick", token)
    assert locked.get("/v1/now").status_code == 200
    assert locked.post("/v1/boxes/north/watered").status_code == 202


def test_a_calendar_program_gets_in_with_basic_and_only_to_read(rig, locked):
    """RFC 7617, with the token for a password."""
    token = rig.site().access.open_session("calendar", now_s=rig.clock.wall_s(), lasts_s=3600)
    assert locked.get("/v1/calendar.ics", auth=("any", token)).status_code == 200
    assert locked.post("/v1/boxes/north/watered", auth=("any", token)).status_code == 401


@pytest.mark.parametrize(
    "value", ["Bearer", "Bearer ", "Basic %%%", "Basic Og==", "Digest x", "Bearer " + "a" * 5000]
)
def test_odd_credentials_are_none(locked, value):
    """401, never a fault."""
    assert locked.get("/v1/now", headers={"Authorization": value}).status_code == 401


def test_odd_cookies_are_none(locked):
    """The same for what a browser might hold."""
    for value in ("propstick=", "propstick", "=;=;", 'propstick="\\', "a b=c; propstick=\x7f"):
        assert locked.get("/v1/now", headers={"Cookie": value}).status_code == 401


def test_bodies_are_bounded_also_without_a_length(client):
    """413 by the length told, and by what comes when none is told."""
    big = b" " * (guard.LARGEST_BODY + 1)
    json = {"Content-Type": "application/json"}
    assert client.post("/v1/boxes/north/lid", content=big, headers=json).status_code == 413
    pieces = client.post("/v1/boxes/north/lid", content=iter([b" " * 40_000] * 3), headers=json)
    assert pieces.status_code == 413
    assert pieces.headers["content-type"] == "application/problem+json"


def test_addresses_are_bounded(client):
    """414."""
    assert client.get("/v1/alarms?from=" + "0" * guard.LONGEST_ADDRESS).status_code == 414


def test_every_answer_carries_the_headers_of_caution(client):
    """Good and bad answers alike: nothing from elsewhere, no framing, no guessing of types."""
    for path in ("/v1/now", "/nope", "/sign-in", "/v1/nights/2026-04-12/picture.svg"):
        headers = client.get(path).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "unsafe-inline" not in headers["content-security-policy"]
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cache-control"] == "no-store"
    wrong_host = client.get("/v1/now", headers={"Host": "evil.example"})
    assert wrong_host.headers["x-content-type-options"] == "nosniff"


def test_a_fault_of_our_own_is_a_problem_without_its_inside(rig, client, monkeypatch):
    """500 as problem details; what went wrong is in the log only."""

    def broken(*_args, **_kwargs):
        raise KeyError("secret inside")

    monkeypatch.setattr("propstick_api.nights.nights_between", broken)
    fault = client.get("/v1/nights")
    assert (fault.status_code, fault.headers["content-type"]) == (500, "application/problem+json")
    assert "secret" not in fault.text


def test_nothing_typed_comes_back_as_markup(client):
    """An error that quotes what was asked for is JSON, and says so."""
    refused = client.get("/v1/alarms/<script>alert(1)</script>")
    assert refused.status_code == 404
    assert refused.headers["content-type"] == "application/problem+json"
    assert client.get("/v1/boxes/%ff%fe/history").status_code == 404
