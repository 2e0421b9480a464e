"""Signing in, and the link in a notice: forms that need no script."""

import pytest

from propstick.app.live.answer_links import AnswerLinks
from propstick.edges.access import AccessBook
from propstick.edges.database import open_store
from propstick.records import Notice

FROST = "north.frost.20260413T015000Z"
PHRASE = "wax arm and glass"


def _link(rig, *alarm_ids):
    """The path of a notice's link, as the watch would issue it."""
    notice = Notice(id="n", issued_s=0, boxes=("north",), kinds=("frost",), text="t", alarm_ids=alarm_ids)
    return AnswerLinks(rig.site().answers, "http://pi.local:8460/", rig.clock)(notice).removeprefix(
        "http://pi.local:8460"
    )


def test_looking_at_a_link_answers_nothing(rig, client):
    """However often a preview fetches it."""
    link = _link(rig, FROST)
    for _ in range(3):
        shown = client.get(link)
        assert shown.status_code == 200
        assert '<form method="post">' in shown.text
    assert rig.site().requests.pending() == []


@pytest.mark.slow
def test_its_button_acknowledges_that_alarm_once(rig, client):
    """Good once; the watch takes it up like any other request."""
    link = _link(rig, FROST)
    assert client.post(link).status_code == 200
    assert client.post(link).status_code == 410
    assert client.get(link).status_code == 410
    (request,) = rig.site().requests.pending()
    assert (request.kind, request.body["id"]) == ("acknowledge", FROST)
    rig.live_rows()
    assert client.get(f"/v1/alarms/{FROST}").json()["state"] == "acknowledged"


def test_each_alarm_of_a_notice_has_its_own_button(rig, client):
    """Answering for one box leaves the other's alarm as it is; each button is good once."""
    other = "lane.frost.20260413T015000Z"
    link = _link(rig, FROST, other)
    assert client.get(link).text.count('<form method="post">') == 2
    assert client.post(link).status_code == 410, "a press that names no alarm answers none of two"
    first = client.post(link, data={"alarm": FROST})
    assert first.status_code == 200
    assert other in first.text
    assert [one.body["id"] for one in rig.site().requests.pending()] == [FROST]
    assert client.post(link, data={"alarm": FROST}).status_code == 410
    assert client.post(link, data={"alarm": "site.watch-late.x"}).status_code == 410
    assert client.post(link, data={"alarm": other}).status_code == 200
    assert client.get(link).status_code == 410


def test_a_link_works_without_signing_in_and_opens_nothing_else(rig):
    """It is a key to one answer: the rest stays shut."""
    AccessBook(open_store(rig.settings.store.url), "plot").set_passphrase(PHRASE, now_s=0)
    client = rig.client()
    link = _link(rig, FROST)
    assert client.get("/v1/now").status_code == 401
    assert client.post(link).status_code == 200
    assert client.get("/v1/now").status_code == 401


def test_a_link_is_good_for_a_day(rig, client):
    """Then it says that it came too late."""
    link = _link(rig, FROST)
    rig.clock.advance(86_401)
    assert client.get(link).status_code == 410
    assert client.post(link).status_code == 410
    assert rig.site().requests.pending() == []


def test_a_link_that_never_was_is_404(client):
    """Guessing shows nothing."""
    assert client.get("/answer/AAAAAAAAAAAAAAAAAAAAAAAA").status_code == 404
    assert client.post("/answer/%3Cscript%3E").status_code == 404


def test_an_alarm_that_is_over_is_not_asked_for(rig, client):
    """The answer is taken, and nothing is left for the watch to refuse."""
    over = ("north.frost-ahead.20260412T222500Z", "gone.alarm")
    link = _link(rig, *over)
    assert [client.post(link, data={"alarm": one}).status_code for one in over] == [200, 200]
    assert rig.site().requests.pending() == []


@pytest.fixture
def locked(rig):
    """The service of a garden with a pass phrase."""
    AccessBook(open_store(rig.settings.store.url), "plot").set_passphrase(PHRASE, now_s=rig.clock.wall_s())
    return rig.client()


def _sign_in(client, **fields):
    return client.post("/sign-in", data=fields, follow_redirects=False)


def test_signing_in_leads_to_where_one_wanted(locked):
    """A cookie, and on."""
    signed = _sign_in(locked, passphrase=PHRASE, next="/nights")
    assert (signed.status_code, signed.headers["location"]) == (303, "/nights")
    assert locked.get("/v1/now").status_code == 200


@pytest.mark.parametrize(
    "target",
    ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:x", "/a\r\nb", "", "/\u00e9"],
)
def test_signing_in_leads_nowhere_else(locked, target):
    """An address that is not ours becomes the page, in the form as in its answer."""
    signed = _sign_in(locked, passphrase=PHRASE, next=target)
    assert signed.headers["location"] == "/"
    assert "evil" not in locked.get("/sign-in", params={"next": target}).text


def test_a_wrong_phrase_says_so_and_then_how_long_to_wait(locked):
    """In words on the page; the status is honest."""
    answers = [_sign_in(locked, passphrase="wrong phrase") for _ in range(4)]
    assert [a.status_code for a in answers] == [403, 403, 403, 429]
    assert "not the pass phrase" in answers[0].text
    assert "1 seconds" in answers[3].text


def test_what_was_typed_is_never_markup(locked):
    """In the hidden field of the form."""
    text = locked.get("/sign-in", params={"next": "/'\"><script>alert(1)</script>"}).text
    assert "<script>" not in text
