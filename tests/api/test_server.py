"""Running the service: where it may listen, beside a watch, and how it ends."""

import asyncio
import socket
from dataclasses import replace

import httpx
import pytest

from propstick.app.garden_file.settings import ApiSettings
from propstick.app.live import service
from propstick.edges.access import AccessBook
from propstick.edges.database import open_store
from propstick.errors import ConfigError, PropstickError
from propstick_api.server import _must_be_safe, _server, _socket, start_beside


def _listening(rig, listen):
    return replace(rig.settings, api=ApiSettings(listen=listen, port=0))


@pytest.mark.parametrize("listen", ["0.0.0.0", "::", "192.0.2.7"])
def test_a_network_address_needs_a_pass_phrase_first(rig, listen):
    """Refused with the command that sets it; then fine."""
    with pytest.raises(ConfigError, match="no pass phrase") as refused:
        start_beside(_listening(rig, listen), clock=rig.clock)
    assert "propstick passphrase" in refused.value.hint
    AccessBook(open_store(rig.settings.store.url), "plot").set_passphrase("wax arm and glass", now_s=0)
    _must_be_safe(_listening(rig, listen))


def test_without_a_store_a_network_address_is_refused_too(rig, tmp_path):
    """There is no phrase where there is no store."""
    settings = _listening(rig, "0.0.0.0")
    gone = replace(settings, store=replace(settings.store, url=f"sqlite:///{tmp_path}/none.db"))
    with pytest.raises(ConfigError):
        _must_be_safe(gone)


@pytest.mark.slow
def test_on_a_network_address_everybody_signs_in(rig):
    """Also from this machine."""
    AccessBook(open_store(rig.settings.store.url), "plot").set_passphrase("wax arm and glass", now_s=0)
    running = start_beside(_listening(rig, "0.0.0.0"), clock=rig.clock)
    try:
        with httpx.Client(base_url=running.address) as browser:
            assert browser.get("/v1/now").status_code == 401
            assert browser.post("/v1/session", json={"passphrase": "wax arm and glass"}).status_code == 204
            assert browser.get("/v1/now").status_code == 200
    finally:
        running.stop()


@pytest.mark.slow
def test_beside_a_watch_a_taken_port_is_stepped_around(rig):
    """The demo starts also where another service has the port; by itself that is an error in words."""
    with socket.create_server(("127.0.0.1", 0)) as other:
        taken = ApiSettings(port=other.getsockname()[1])
        running = service.start_beside(replace(rig.settings, api=taken), clock=rig.clock)
        assert running.address.startswith("http://127.0.0.1:")
        assert not running.address.endswith(f":{taken.port}")
        assert httpx.get(f"{running.address}/v1/health").status_code == 200
        running.stop()
        with pytest.raises(PropstickError, match=str(taken.port)):
            _socket(taken)
    assert not running._thread.is_alive()


def test_small_answers_leave_at_once(rig):
    """asyncio sets TCP_NODELAY only on sockets that say they are TCP; without it each answer waits 40 ms."""
    listening = _socket(ApiSettings(port=0))
    assert listening.proto == socket.IPPROTO_TCP
    listening.close()


@pytest.mark.parametrize(("asked_s", "told"), [(0.3, ["WATCHDOG=1"]), (None, [])])
def test_the_loop_that_answers_tells_the_service_manager(rig, monkeypatch, asked_s, told):
    """Once a third of what the manager asks for; beside a watch, which speaks for the process, never."""
    said = []
    monkeypatch.setattr("propstick_api.server.tell_service", said.append)
    server = _server([rig.settings], rig.clock)
    server.watchdog_s = asked_s
    server.should_exit = True  # one tick, and it says that it ends
    assert asyncio.run(server.on_tick(1)) is True
    asyncio.run(server.on_tick(2))
    assert said == told
