"""The few words to the service manager, to a real datagram socket as systemd's sd_notify(3) has it."""

import os
import socket

import pytest

from propstick.edges.service import tell_service, watchdog_s


@pytest.mark.parametrize("kind", ["path", "abstract"])
def test_words_arrive(tmp_path, monkeypatch, kind):
    """On a path, and on an abstract socket (written with @)."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        address = str(tmp_path / "notify") if kind == "path" else f"@propstick-test-{os.getpid()}"
        manager.bind("\0" + address[1:] if kind == "abstract" else address)
        manager.settimeout(5)
        monkeypatch.setenv("NOTIFY_SOCKET", address)
        assert tell_service("READY=1") is True
        assert manager.recv(100) == b"READY=1"


@pytest.mark.parametrize("address", ["", "/nowhere/at/all", "nonsense"])
def test_nobody_listening_is_no_fault(monkeypatch, address):
    """Started by hand there is no manager."""
    monkeypatch.setenv("NOTIFY_SOCKET", address)
    assert tell_service("WATCHDOG=1") is False


@pytest.mark.parametrize(
    ("usec", "pid", "expected"),
    [
        ("30000000", None, 30.0),
        ("30000000", "1", None),
        ("", None, None),
        ("soon", None, None),
        ("0", None, None),
    ],
)
def test_the_watchdog_is_asked_for_in_microseconds(monkeypatch, usec, pid, expected):
    """sd_watchdog_enabled(3): only for the process it names."""
    monkeypatch.setenv("WATCHDOG_USEC", usec)
    monkeypatch.delenv("WATCHDOG_PID", raising=False)
    if pid:
        monkeypatch.setenv("WATCHDOG_PID", pid)
    assert watchdog_s() == expected
