"""The live view: one object a row, its ages, the stream of it, and the health of the watch."""

import json
import threading

import httpx
import pytest

from propstick.records import Outcome
from propstick_api import live, now
from propstick_api.server import start_beside


def _events(response):
    """Server-sent events as the standard reads them: fields to a blank line (HTML, section 9.2.6)."""
    fields = {}
    for line in response.iter_lines():
        if not line:
            if "data" in fields:
                yield fields
            fields = {}
        elif not line.startswith(":"):
            name, _, value = line.partition(":")
            fields[name] = value.removeprefix(" ")


@pytest.fixture
def served(rig, monkeypatch):
    """The service in a thread of its own, looking often."""
    monkeypatch.setattr(live, "LOOK_EVERY_S", 0.02)
    running = start_beside(rig.settings, clock=rig.clock)
    yield running
    running.stop()


def test_now_shows_the_last_row_and_its_ages(client):
    """Every box with value, trend, limits, room, forecast, advice; how old row and values are."""
    found = client.get("/v1/now").json()
    assert (found["time"], found["now"]) == ("2026-04-13T07:55:00Z", "2026-04-13T07:55:20Z")
    assert found["age_s"] == 20
    assert found["health"] == "watching"
    north, lane = found["boxes"]
    assert (north["box"], lane["box"], found["outside"]["box"]) == ("north", "lane", "outside")
    assert north["air"]["value"] == pytest.approx(0.62)
    assert north["air"]["age_s"] == 0
    assert north["room"]["frost"]["c"] == pytest.approx(0.62 - 1.0)
    assert north["room"]["frost"]["minutes"] == 0
    assert north["forecast"]["night"]["night"] == "2026-04-12"
    assert {f["lid"] for f in north["forecast"]["day"]} == {"as-is", "closed", "open", "propped"}
    assert north["advice"]["which"] == "morning"
    assert [s["crop"] for s in north["sowings"]] == ["lettuce"]
    assert (north["doubt"], lane["doubt"]) == (None, None)
    assert north["alarms"] == [a["id"] for a in found["alarms"] if a["box"] == "north"]


def test_now_counts_the_age_of_its_row_by_the_watchs_clock(rig, client):
    """The same row, four minutes later."""
    rig.clock.advance(240)
    found = client.get("/v1/now").json()
    assert (found["time"], found["age_s"]) == ("2026-04-13T07:55:00Z", 260)


def test_health_is_late_after_three_steps(rig, client):
    """503 and problem details once the row is older than three steps; the page's data says so too."""
    assert client.get("/v1/health").json()["status"] == "watching"
    rig.clock.advance(3 * 300 + 1)
    late = client.get("/v1/health")
    assert late.status_code == 503
    assert late.headers["content-type"] == "application/problem+json"
    assert late.json()["watch"] == "late"
    assert late.json()["age_s"] == 921
    assert client.get("/v1/now").json()["health"] == "late"


def test_health_and_now_say_what_a_wire_or_the_broker_complains_of(rig, client):
    """Still 200: the watch is on time, and the rows before had nothing to complain of."""
    assert client.get("/v1/health").json()["troubles"] == []
    trouble = {"part": "broker", "found": "connection lost", "since": "2026-04-13T07:40:00Z"}
    site = rig.site()
    status = {**site.journal.status(), "troubles": [trouble]}
    site.journal.commit(row_s=rig.row_s + 300, readings=(), outcome=Outcome(), status=status)
    site.store.close()
    client = rig.client()
    answer = client.get("/v1/health")
    assert answer.status_code == 200
    assert answer.json()["troubles"] == [trouble]
    assert client.get("/v1/now").json()["troubles"] == [trouble]


def test_a_clock_set_back_makes_no_row_late(rig, client):
    """Rows that run ahead of the clock are not old."""
    rig.clock.advance(-3600)
    assert client.get("/v1/health").json()["age_s"] == 0


def test_without_a_watch_now_says_what_is_missing(tmp_path, rig):
    """503 with a next step, and the service goes on: the watch may still come."""
    rig.settings = rig.settings.__class__(
        **{**vars(rig.settings), "store": rig.settings.store.__class__(url=f"sqlite:///{tmp_path}/none.db")}
    )
    client = rig.client()
    answer = client.get("/v1/now")
    assert answer.status_code == 503
    assert "Retry-After" in answer.headers
    assert client.get("/v1/health").json()["watch"] in ("not-started", "store-trouble")
    assert client.get("/v1/alarms").status_code == 503


@pytest.mark.slow
def test_stream_sends_each_row_once_and_goes_on_with_the_next_watch(rig, served):
    """One event a row, its id the row's time; a watch that stops and starts in between breaks nothing."""
    with httpx.stream("GET", f"{served.address}/v1/now/stream", timeout=20) as response:
        assert response.headers["content-type"].startswith("text/event-stream")
        events = _events(response)
        first = next(events)
        assert (first["event"], first["id"]) == ("now", "2026-04-13T07:55:00Z")
        rig.live_rows()
        second = next(events)
    assert second["id"] == "2026-04-13T08:00:00Z"
    assert json.loads(second["data"])["time"] == second["id"]


@pytest.mark.slow
def test_stream_resumes_after_the_row_seen_last(rig, served):
    """With Last-Event-ID of the newest row nothing comes until the next one."""
    seen = {"Last-Event-ID": "2026-04-13T07:55:00Z"}
    with httpx.stream("GET", f"{served.address}/v1/now/stream", headers=seen, timeout=20) as response:
        events = _events(response)
        threading.Thread(target=rig.live_rows).start()
        assert next(events)["id"] == "2026-04-13T08:00:00Z"


@pytest.mark.slow
def test_stream_tells_an_older_listener_at_once(served):
    """Who saw an earlier row last gets the newest without waiting."""
    seen = {"Last-Event-ID": "2026-04-13T07:00:00Z"}
    with httpx.stream("GET", f"{served.address}/v1/now/stream", headers=seen, timeout=20) as response:
        assert next(_events(response))["id"] == "2026-04-13T07:55:00Z"


@pytest.mark.slow
def test_stream_says_once_that_the_watch_is_late(rig, served):
    """No new row, but what stands on the page has become old."""
    with httpx.stream("GET", f"{served.address}/v1/now/stream", timeout=20) as response:
        events = _events(response)
        assert json.loads(next(events)["data"])["health"] == "watching"
        rig.clock.advance(3600)
        late = next(events)
    assert json.loads(late["data"])["health"] == "late"
    assert late["id"] == "2026-04-13T07:55:00Z"


@pytest.mark.slow
def test_streams_are_bounded_and_given_back(served, monkeypatch):
    """One more than there may be is refused; when one ends there is room again."""
    monkeypatch.setattr(now, "MOST_STREAMS", 1)
    address = f"{served.address}/v1/now/stream"
    with httpx.stream("GET", address, timeout=20) as response:
        events = _events(response)
        next(events)
        refused = httpx.get(address)
        assert refused.status_code == 429
        assert refused.headers["content-type"] == "application/problem+json"
        assert httpx.get(f"{served.address}/v1/health").json()["streams"] == 1


@pytest.mark.slow
def test_a_stop_ends_open_streams(rig, monkeypatch):
    """The server does not wait for a listener that never leaves."""
    running = start_beside(rig.settings, clock=rig.clock)
    with httpx.stream("GET", f"{running.address}/v1/now/stream", timeout=20) as response:
        events = _events(response)
        next(events)
        running.stop()
        assert list(events) == []
    assert not running._thread.is_alive()
