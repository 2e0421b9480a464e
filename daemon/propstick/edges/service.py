"""Tells the service manager how we are: the few words of systemd's sd_notify(3)."""

from __future__ import annotations

import os
import socket


def tell_service(words: str) -> bool:
    """Sends `READY=1`, `WATCHDOG=1`, `STOPPING=1` or `STATUS=…`; False where nobody listens.

    Never raises: a service manager that does not answer must not stop the watch.
    """
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address.startswith(("/", "@")):
        return False
    path = "\0" + address[1:] if address.startswith("@") else address
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as link:
            link.setblocking(False)
            link.sendto(words.encode(), path)
    except OSError:
        return False
    return True


def watchdog_s() -> float | None:
    """Seconds within which the manager wants a `WATCHDOG=1`; None if it does not ask for one."""
    asked_us = os.environ.get("WATCHDOG_USEC", "")
    own = os.environ.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
    return int(asked_us) / 1e6 if own and asked_us.isdigit() and int(asked_us) > 0 else None
