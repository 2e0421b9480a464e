"""Signing in and out over HTTP."""

import pytest

from propstick.edges.access import AccessBook
from propstick.edges.database import open_store

PHRASE = "wax arm and glass"


@pytest.fixture
def locked(rig):
    """The service of a garden with a pass phrase."""
    store = open_store(rig.settings.store.url)
    AccessBook(store, "plot").set_passphrase(PHRASE, now_s=rig.clock.wall_s())
    store.close()
    return rig.client()


def _sign_in(client, phrase):
    return client.post("/v1/session", json={"passphrase": phrase})


def test_signing_in_needs_no_session_itself(locked):
    """A program signs in where it was refused."""
    assert locked.get("/v1/now").status_code == 401
    signed = _sign_in(locked, PHRASE)
    assert signed.status_code == 204
    cookie = signed.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert locked.get("/v1/now").status_code == 200


def test_through_tls_the_cookie_stays_on_tls(locked):
    """Behind a proxy the browser's Origin tells; on plain HTTP the cookie must still come back."""
    own = {"passphrase": PHRASE}
    assert "secure" not in _sign_in(locked, PHRASE).headers["set-cookie"].lower()
    behind = locked.post("/v1/session", json=own, headers={"Origin": "https://localhost"})
    assert "secure" in behind.headers["set-cookie"].lower()


def test_signing_out_ends_it(locked):
    """The cookie is taken back and no longer good."""
    _sign_in(locked, PHRASE)
    token = locked.cookies["propstick"]
    assert locked.delete("/v1/session").status_code == 204
    assert locked.get("/v1/now", headers={"Cookie": f"propstick={token}"}).status_code == 401


def test_wrong_phrases_are_refused_and_then_slowed(locked):
    """403, then 429 that says how long."""
    answers = [_sign_in(locked, "wrong phrase") for _ in range(4)]
    assert [a.status_code for a in answers] == [403, 403, 403, 429]
    assert answers[-1].headers["retry-after"] == "1"
    assert _sign_in(locked, PHRASE).status_code == 429


@pytest.mark.parametrize("body", [{}, {"passphrase": ""}, {"passphrase": 5}, {"passphrase": "x" * 201}, []])
def test_what_is_no_phrase_is_refused(locked, body):
    """422, and no try is counted for it."""
    assert locked.post("/v1/session", json=body).status_code == 422
