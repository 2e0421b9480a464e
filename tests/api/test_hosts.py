"""Many gardens behind one service: each by its own name, and no visitor of one ever at another."""

import base64
from dataclasses import replace

import httpx
import pytest
from fastapi.testclient import TestClient

from propstick.app.commands import serve as command
from propstick.app.garden_file.settings import ApiSettings
from propstick.app.live.wiring import assemble
from propstick.edges.access import AccessBook
from propstick.edges.answers import Answers
from propstick.edges.database import open_store
from propstick.edges.sowings import Sowings
from propstick.errors import ConfigError
from propstick.garden import Box, Site
from propstick.testing import FakeBus
from propstick_api.app import build_many
from propstick_api.hosts import name_in, without_port
from propstick_api.server import _must_listen_alike, start_beside

PHRASES = {"plot": "wax arm and glass", "orchard": "quite another phrase"}
HOSTS = {"plot": "plot.example", "orchard": "orchard.example"}


class Society:
    """Two gardens on one database, each with a watch, a box of its own, a pass phrase and a sowing."""

    def __init__(self, rig):
        self.rig = rig
        boxes = (Box(name="hidden"),)
        probes = tuple(replace(probe, box="hidden") for probe in rig.settings.garden.probes[:2])
        garden = replace(rig.settings.garden, site=Site(name="orchard"), boxes=boxes, probes=probes)
        self.settings = {
            "plot": replace(rig.settings, api=ApiSettings(address=f"http://{HOSTS['plot']}:8460")),
            "orchard": replace(
                rig.settings, garden=garden, path=rig.settings.path.with_name("orchard.toml"),
                api=ApiSettings(address=f"https://{HOSTS['orchard']}"),
            ),
        }  # fmt: skip
        assembly = assemble(
            self.settings["orchard"], clock=rig.clock, channels={}, watches_file=False,
            buses=lambda: [FakeBus(values={"na": 3.0, "ns": 9.0})],
        )  # fmt: skip
        assembly.watch.do_row(assembly.watch._rows.next_row())
        assembly.close()
        self.store = open_store(rig.settings.store.url)
        for name, phrase in PHRASES.items():
            AccessBook(self.store, name).set_passphrase(phrase, now_s=int(rig.clock.wall_s()))
        self.sowing = Sowings(self.store, "orchard").add({"crop": "radish", "box": "hidden"}, by="test").id
        app = build_many(tuple(self.settings.values()), clock=rig.clock)
        self._app = TestClient(app, base_url="http://plot.example")
        self._app.__enter__()

    def visitor(self, name, *, signs_in=True):
        """A browser of its own, at one garden's address."""
        client = TestClient(self._app.app, base_url=f"http://{HOSTS[name]}")
        client.portal = self._app.portal
        if signs_in:
            assert client.post("/v1/session", json={"passphrase": PHRASES[name]}).status_code == 204
        return client

    def close(self):
        self._app.__exit__(None, None, None)
        self.store.close()


@pytest.fixture
def society(rig):
    made = Society(rig)
    yield made
    made.close()


def test_each_name_leads_to_its_own_garden(society):
    """The same address, two gardens."""
    for name, boxes in (("plot", ["north", "lane"]), ("orchard", ["hidden"])):
        seen = society.visitor(name).get("/v1/now").json()
        assert [box["box"] for box in seen["boxes"]] == boxes


@pytest.mark.parametrize(
    "host",
    ["evil.example", "localhost", "127.0.0.1", "[::1]", "pi.local", "", "example", "plot.example.evil"],
)
def test_any_other_name_is_refused_in_words(society, host):
    """Addresses and this machine's own names too: they do not say which garden is meant."""
    refused = society.visitor("plot", signs_in=False).get("/v1/now", headers={"Host": host})
    assert refused.status_code == 400
    assert refused.headers["content-type"] == "application/problem+json"
    assert "expected the name of a garden that is served here" in refused.json()["detail"]
    assert "orchard" not in refused.text


def test_nobody_gets_in_without_signing_in_even_from_this_machine(society):
    """Behind a proxy everybody comes from this machine."""
    stranger = society.visitor("orchard", signs_in=False)
    for path in ("/v1/now", "/v1/health", "/metrics", "/v1/alarms", "/", "/v1/calendar.ics"):
        assert stranger.get(path, follow_redirects=False).status_code in (401, 303), path


def test_a_garden_without_a_phrase_is_shut(society):
    """Not open, as a garden served alone on its own machine would be."""
    AccessBook(society.store, "orchard").remove_passphrase()
    visitor = society.visitor("orchard", signs_in=False)
    assert visitor.get("/v1/now").status_code == 401
    assert visitor.post("/v1/session", json={"passphrase": PHRASES["orchard"]}).status_code == 403
    assert society.visitor("plot").get("/v1/now").status_code == 200


def test_the_phrase_of_one_opens_no_other(society):
    stranger = society.visitor("orchard", signs_in=False)
    assert stranger.post("/v1/session", json={"passphrase": PHRASES["plot"]}).status_code == 403
    assert stranger.get("/v1/now").status_code == 401


def all_gets(client):
    """Every address that can be read without knowing an id, as the description lists them."""
    paths = client.get("/v1/openapi.json").json()["paths"]
    found = [path for path, ways in paths.items() if "get" in ways and "stream" not in path]
    fixed = {"box": "hidden", "place": "hidden", "night": "2026-04-12", "date": "2026-04-12"}
    return [path.format(**{name: fixed.get(name, "1") for name in _names(path)}) for path in found] + [
        "/",
        "/metrics",
        "/season",
    ]


def _names(path):
    return [part[1:-1] for part in path.split("/") if part.startswith("{")]


@pytest.mark.parametrize("way", ["cookie", "bearer", "basic"])
def test_the_session_of_one_reads_nothing_of_another(society, way):
    """However it is carried, at every address that can be read, with every Host that could be meant."""
    visitor = society.visitor("plot")
    token = visitor.cookies["propstick"]
    given = {
        "cookie": {"Cookie": f"propstick={token}"},
        "bearer": {"Authorization": f"Bearer {token}"},
        "basic": {"Authorization": "Basic " + base64.b64encode(f"x:{token}".encode()).decode()},
    }[way]
    paths = all_gets(visitor)
    assert len(paths) > 20
    stranger = society.visitor("orchard", signs_in=False)
    for path in paths:
        for host in ("orchard.example", "ORCHARD.EXAMPLE:8460", "orchard.example."):
            answer = stranger.get(path, headers={**given, "Host": host}, follow_redirects=False)
            assert answer.status_code == 401, (path, host)
            assert "hidden" not in answer.text.replace("overflow:hidden", "")


def test_the_session_of_one_writes_nothing_of_another(society):
    visitor = society.visitor("plot")
    token = visitor.cookies["propstick"]
    for method, path, body in (
        ("POST", "/v1/boxes/hidden/lid", {"opening": 1.0}),
        ("POST", "/v1/boxes/hidden/watered", None),
        ("POST", "/v1/sowings", {"crop": "pea", "box": "hidden"}),
        ("PATCH", f"/v1/sowings/{society.sowing}", {"note": "mine"}),
        ("DELETE", f"/v1/sowings/{society.sowing}", None),
        ("DELETE", "/v1/session", None),
    ):
        answer = visitor.request(
            method, path, json=body,
            headers={"Host": "orchard.example", "Authorization": f"Bearer {token}"},
        )  # fmt: skip
        assert answer.status_code in (401, 204), (method, path)
        assert answer.status_code == 401 or path == "/v1/session"
    book = Sowings(society.store, "orchard")
    assert [(one.id, one.note) for one in book.all()] == [(society.sowing, "")]
    # Nor was its own session ended from there.
    bearer = {"Authorization": f"Bearer {token}"}
    assert society.visitor("plot", signs_in=False).get("/v1/now", headers=bearer).status_code == 200


def test_what_is_named_by_a_number_is_looked_for_in_ones_own_garden_only(society):
    """Sowings, requests and links of another garden are unknown here, not forbidden: they do not exist."""
    visitor = society.visitor("plot")
    assert visitor.patch(f"/v1/sowings/{society.sowing}", json={"note": "x"}).status_code in (404, 422)
    assert visitor.delete(f"/v1/sowings/{society.sowing}").status_code in (404, 422)
    assert visitor.get("/v1/boxes/hidden/history").status_code == 404
    asked = society.visitor("orchard").post("/v1/boxes/hidden/watered").json()["id"]
    assert society.visitor("orchard").get(f"/v1/requests/{asked}").status_code == 200
    assert visitor.get(f"/v1/requests/{asked}").status_code == 404
    assert Sowings(society.store, "orchard").all()[0].note == ""


def test_a_notices_link_is_good_at_its_own_garden_only(society):
    """It needs no credential, so the garden it was issued for is all that stands before it."""
    now_s = int(society.rig.clock.wall_s())
    link = Answers(society.store, "orchard").issue(["hidden.heat.1"], now_s=now_s, lasts_s=3600)
    at_home, elsewhere = (society.visitor(name, signs_in=False) for name in ("orchard", "plot"))
    assert at_home.get(f"/answer/{link}").status_code == 200
    assert elsewhere.get(f"/answer/{link}").status_code == 404
    assert elsewhere.post(f"/answer/{link}").status_code == 404
    assert Answers(society.store, "orchard").look(link).is_good(now_s)


def test_a_page_of_one_garden_cannot_write_to_another(society):
    """Signed in to both in one browser: the origin is another."""
    orchard = society.visitor("orchard")
    refused = orchard.post("/v1/boxes/hidden/watered", headers={"Origin": "http://plot.example"})
    assert refused.status_code == 403
    assert orchard.post("/v1/boxes/hidden/watered").status_code == 202


def test_wrong_phrases_at_one_slow_down_no_other(society):
    stranger = society.visitor("orchard", signs_in=False)
    for _ in range(4):
        stranger.post("/v1/session", json={"passphrase": "not the phrase"})
    assert stranger.post("/v1/session", json={"passphrase": PHRASES["orchard"]}).status_code == 429
    assert society.visitor("plot").get("/v1/now").status_code == 200


def test_gardens_that_cannot_be_told_apart_are_refused_at_the_start(society):
    """With both files' names."""
    plot, orchard = society.settings.values()
    with pytest.raises(ConfigError, match=r"garden\.toml.*got none"):
        build_many([replace(plot, api=ApiSettings()), orchard], clock=society.rig.clock)
    same = replace(orchard, api=ApiSettings(address="https://PLOT.example./x"))
    with pytest.raises(ConfigError, match=r"orchard\.toml.*got plot\.example.*garden\.toml"):
        build_many([plot, same], clock=society.rig.clock)
    with pytest.raises(ConfigError, match=r"orchard\.toml.*8461.*8460"):
        _must_listen_alike([plot, replace(orchard, api=replace(orchard.api, port=8461))])


@pytest.mark.parametrize(
    ("address", "name"),
    [("http://plot.example:8460", "plot.example"), ("https://Plot.Example./x", "plot.example"),
     ("http://[fe80::1]:8460", "[fe80::1]"), ("http://192.168.1.9", "192.168.1.9"), (None, None)],
)  # fmt: skip
def test_the_name_in_an_address(society, address, name):
    """RFC 3986, section 3.2.2; a final dot is the same name (RFC 1034, section 3.1)."""
    settings = replace(society.settings["plot"], api=ApiSettings(address=address))
    assert name_in(settings) == name
    assert name is None or without_port(f"{name.upper()}:80") == name


def test_a_folder_of_gardens_is_served_together(tmp_path, monkeypatch):
    """`propstick serve --garden FOLDER`, the watch's own word."""
    for name in ("east", "west"):
        (tmp_path / f"{name}.toml").write_text(f'[site]\nname = "{name}"\n[[box]]\nname = "north"\n')
    served = []
    monkeypatch.setattr(
        "propstick.app.live.service.serve", lambda *all_settings: served.extend(all_settings) or 0
    )
    assert command.run(type("Args", (), {"garden": str(tmp_path)})()) == 0
    assert [settings.garden.site.name for settings in served] == ["east", "west"]


@pytest.mark.slow
def test_a_running_service_of_many_answers_each_by_name_and_says_who_is_shut(society, caplog):
    """Through a real socket, streams too; it ends when it is told to."""
    AccessBook(society.store, "orchard").remove_passphrase()
    many = [replace(one, api=replace(one.api, port=0)) for one in society.settings.values()]
    with caplog.at_level("WARNING"):
        running = start_beside(*many, clock=society.rig.clock)
    assert "gardens-shut count=1 sites=orchard" in caplog.text
    at = {name: {"Host": host} for name, host in HOSTS.items()}
    try:
        with httpx.Client(base_url=running.address) as browser:
            phrase = {"passphrase": PHRASES["plot"]}
            token = browser.post("/v1/session", json=phrase, headers=at["plot"]).cookies["propstick"]
            bearer = {"Authorization": f"Bearer {token}"}
            seen = browser.get("/v1/now", headers={**at["plot"], **bearer}).json()
            assert [box["box"] for box in seen["boxes"]] == ["north", "lane"]
            with browser.stream("GET", "/v1/now/stream", headers={**at["plot"], **bearer}) as stream:
                assert "north" in next(line for line in stream.iter_lines() if line.startswith("data:"))
            assert browser.get("/v1/now", headers={**at["orchard"], **bearer}).status_code == 401
            assert browser.get("/v1/now").status_code == 400
    finally:
        running.stop()
    assert not running._thread.is_alive()
