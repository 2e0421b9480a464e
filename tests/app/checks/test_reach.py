"""What check finds when it reaches out. The store: missing, in use, forgotten, damaged, somebody else's;
the broker: who could speak to it, or listen, unnoticed."""

import socket
import sqlite3

import pytest

from propstick.app.checks import reach
from propstick.app.garden_file.load import parse
from propstick.app.garden_file.settings import MqttSettings, Secret
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.records import Outcome, Reading
from propstick.times import utc_text

ROW_S = 1_784_000_040
TEXT = '[site]\nname = "lane"\n'


@pytest.fixture
def settings(tmp_path):
    return parse(TEXT, tmp_path / "garden.toml")


@pytest.fixture
def lived(settings):
    """A store in which the watch has done one row; gives its file."""
    store = open_store(settings.store.url)
    readings = [Reading(f"28-{k:012x}", ROW_S * 1000, 12.5) for k in range(50)]
    Journal(store, "lane").commit(row_s=ROW_S, readings=readings, outcome=Outcome())
    store.close()
    return settings.store.sqlite_file


def look(settings, age_s=30, **more):
    found, last_row_s = reach.store(settings, now_s=ROW_S + age_s, **more)
    return {one.thing: (one.mark, one.found) for one in found}, last_row_s


def test_a_store_in_use_is_ok(settings, lived):
    found, last_row_s = look(settings)
    assert last_row_s == ROW_S
    assert found["store"][0] == "ok"
    assert found["watch"] == ("ok", "last row 30 s ago")


def test_a_watch_that_stopped_is_seen(settings, lived):
    found, _ = look(settings, age_s=7200)
    assert found["watch"] == ("look", "last row 2 h ago: not running?")


@pytest.mark.parametrize("age_s", [30, 7200])
def test_what_the_running_watch_says_of_its_parts_is_shown(settings, age_s):
    """Of a watch that runs no more it would be old news."""
    trouble = {"part": "broker", "found": "connection lost", "since": utc_text(ROW_S - 1500)}
    store = open_store(settings.store.url)
    Journal(store, "lane").commit(row_s=ROW_S, readings=(), outcome=Outcome(), status={"troubles": [trouble]})
    store.close()
    found, _ = reach.store(settings, now_s=ROW_S + age_s)
    said = [(one.mark, one.found) for one in found if "broker" in one.found]
    assert said == ([("look", "broker: connection lost, for 26 min")] if age_s == 30 else [])


def test_no_store_yet_is_no_fault_and_none_is_made(settings):
    found, last_row_s = look(settings)
    assert found["store"][0] == "look"
    assert last_row_s is None
    assert not settings.store.sqlite_file.exists()


def test_a_damaged_store_is_bad(settings, lived):
    """A page in the middle of the file overwritten, as a worn card does."""
    content = bytearray(lived.read_bytes())
    middle = len(content) // 2 // 1024 * 1024
    content[middle : middle + 8192] = b"\xa5" * 8192
    lived.write_bytes(bytes(content))
    found, _ = look(settings)
    assert found["store"][0] == "bad"


def test_a_file_that_is_no_database_is_bad(settings):
    settings.store.sqlite_file.write_text("readings\n" * 400)
    assert look(settings)[0]["store"][0] == "bad"


def test_another_programs_database_is_bad(settings):
    with sqlite3.connect(settings.store.sqlite_file) as other:
        other.execute("CREATE TABLE recipes (name TEXT)")
    other.close()
    mark, text = look(settings)[0]["store"]
    assert mark == "bad"
    assert "recipes" in text


def test_a_large_store_is_searched_only_when_asked(settings, lived, monkeypatch):
    monkeypatch.setattr(reach, "SEARCHED_MIB", 0)
    assert "not searched" in look(settings)[0]["store"][1]
    assert "not searched" not in look(settings, is_thorough=True)[0]["store"][1]


# Broker


def exposed(monkeypatch, **more):
    """The keys a broker's `look` lines begin with, as if it let us in."""
    monkeypatch.setattr("propstick.edges.mqtt_client.try_broker", lambda *_, **__: "")
    lines = list(reach.broker(MqttSettings(**more)))
    assert lines[0].mark == "ok"
    assert all(line.do for line in lines[1:])
    return [line.found.partition(":")[0] for line in lines[1:]]


NAMED = {"username": "propstick", "password": Secret("x")}


def test_a_broker_that_asks_no_name_or_password_is_said(monkeypatch):
    assert exposed(monkeypatch) == ["no username"]
    assert exposed(monkeypatch, username="propstick") == ["no password_file"]
    assert exposed(monkeypatch, **NAMED) == []


def test_a_broker_elsewhere_without_tls_is_said(monkeypatch):
    assert exposed(monkeypatch, host="10.0.0.7", **NAMED) == ["no TLS to 10.0.0.7"]
    assert exposed(monkeypatch, host="10.0.0.7", tls=True, **NAMED) == []


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST.", "127.0.0.1", "127.1.2.3", "::1"])
def test_loopback_is_this_machine(host):
    """127.0.0.0/8 and ::1 (RFC 1122, 3.2.1.3; RFC 4291, 2.5.3)."""
    assert reach.is_this_machine(host)


def test_this_machines_own_name_is_this_machine_and_others_are_not(monkeypatch):
    monkeypatch.setattr(socket, "gethostname", lambda: "shed")
    assert reach.is_this_machine("shed")
    assert reach.is_this_machine("Shed.local")
    assert not reach.is_this_machine("barn.local")
    assert not reach.is_this_machine("192.168.1.20")
