"""Runs the application: for good (`propstick serve`), or beside a watch or a demonstration."""

from __future__ import annotations

import errno
import logging
import signal
import socket
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import uvicorn

from propstick.app.garden_file.settings import ApiSettings, Settings
from propstick.edges.access import AccessBook
from propstick.edges.clock import SystemClock
from propstick.edges.service import tell_service, watchdog_s
from propstick.errors import ConfigError, PropstickError, StoreError
from propstick.ports import Clock
from propstick_api.app import build, build_many
from propstick_api.deps import Stores
from propstick_api.gate import is_loopback

log = logging.getLogger(__name__)

GRACE_S = 3
"""An event stream that does not end by itself is cut after so long."""
MOST_CONNECTIONS = 600
START_S = 30.0
MOST_NAMED = 20
"""Gardens named in one line of the log."""


def serve(*all_settings: Settings) -> int:
    """Serves one garden, or several by their names, until SIGTERM or Ctrl-C.

    Raises:
        ConfigError: an address on a network without a pass phrase; several gardens that cannot be told apart.
        PropstickError: the address cannot be listened on.
    """
    logging.basicConfig(level=logging.INFO, stream=sys.stdout, format="%(message)s")
    server = _server(all_settings, SystemClock())
    server.watchdog_s = watchdog_s()
    api = all_settings[0].api
    listening = _socket(api)
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: server.ask_to_stop())
    log.info("service-started address=%s gardens=%d", _address(api, listening), len(all_settings))
    tell_service("READY=1")
    server.run(sockets=[listening])
    log.info("service-stopped")
    return 0


@dataclass
class Running:
    """A service in a thread of its own."""

    address: str
    _server: Server
    _thread: threading.Thread

    def stop(self) -> None:
        """Ends it; open event streams are cut after a few seconds."""
        self._server.ask_to_stop()
        self._thread.join(GRACE_S + 10)


def start_beside(*all_settings: Settings, clock: Clock) -> Running:
    """Starts on the settings' address, or on a free port if that one is taken.

    Raises:
        ConfigError: as `serve`.
        PropstickError: the address cannot be listened on, or the service did not start.
    """
    server = _server(all_settings, clock)
    api = all_settings[0].api
    listening = _socket(api, or_any_port=True)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, name="service", daemon=True)
    thread.start()
    if not server.is_up.wait(START_S) or not server.started:
        server.ask_to_stop()
        raise PropstickError("service: did not start", hint="the log says why")
    return Running(_address(api, listening), server, thread)


class Server(uvicorn.Server):
    """Uvicorn, which ends our streams before it waits for them, and leaves signals to its caller.

    Attributes:
        watchdog_s: Within how many seconds the service manager wants to hear of us. None: not at all, as
            beside a watch, which answers for the process itself.
    """

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.is_up = threading.Event()
        self.watchdog_s: float | None = None
        self._told_s = float("-inf")

    async def on_tick(self, counter: int) -> bool:
        """Called ten times a second by the loop that answers requests: a hung one says nothing."""
        if self.watchdog_s is not None and time.monotonic() - self._told_s >= self.watchdog_s / 3:
            tell_service("WATCHDOG=1")
            self._told_s = time.monotonic()
        return await super().on_tick(counter)

    def ask_to_stop(self) -> None:
        """Ends the service; safe in a signal handler and from any thread."""
        self.should_exit = True

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        try:
            await super().startup(sockets)
        finally:
            self.is_up.set()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        for live in self.config.app.state.lives:
            live.end_streams()
        await super().shutdown(sockets)


def _server(all_settings: Sequence[Settings], clock: Clock) -> Server:
    if len(all_settings) == 1:
        _must_be_safe(all_settings[0])
        app = build(all_settings[0], clock=clock)
    else:
        _must_listen_alike(all_settings)
        _say_which_are_shut(all_settings)
        app = build_many(all_settings, clock=clock)
    options: dict[str, Any] = {
        "loop": "asyncio",
        "http": _http(),
        "ws": "none",
        "lifespan": "on",
        "log_config": None,
        "log_level": "warning",
        "access_log": False,
        "server_header": False,
        "proxy_headers": False,
        "limit_concurrency": MOST_CONNECTIONS,
        "timeout_graceful_shutdown": GRACE_S,
        "h11_max_incomplete_event_size": 32 * 1024,
    }
    return Server(uvicorn.Config(app, **options))


def _http() -> str:
    """The quicker parser where its wheel exists (not on 32-bit ARM)."""
    try:
        import httptools  # noqa: F401
    except ImportError:
        return "h11"
    return "httptools"


def _must_listen_alike(all_settings: Sequence[Settings]) -> None:
    """One service listens at one place."""
    first = all_settings[0]
    for settings in all_settings:
        if (settings.api.listen, settings.api.port) != (first.api.listen, first.api.port):
            raise ConfigError(
                f"{settings.path}: [api] listen and port: got {settings.api.listen} {settings.api.port}, "
                f"expected {first.api.listen} {first.api.port} as in {first.path}",
                hint="gardens that are served together listen at one place and differ by address",
            )


def _say_which_are_shut(all_settings: Sequence[Settings]) -> None:
    shut = _without_phrase(all_settings)
    if shut:
        names = [one.garden.site.name for one in shut]
        log.warning(
            "gardens-shut count=%d sites=%s reason='no pass phrase' hint='propstick passphrase --garden %s'",
            len(shut), ",".join(names[:MOST_NAMED]) + ("…" if names[MOST_NAMED:] else ""), shut[0].path,
        )  # fmt: skip


def _without_phrase(all_settings: Sequence[Settings]) -> list[Settings]:
    """Gardens that ask nobody for a pass phrase, or have no store yet to keep one in."""
    stores = Stores()
    try:
        return [one for one in all_settings if not _has_phrase(one, stores)]
    finally:
        stores.close()


def _has_phrase(settings: Settings, stores: Stores) -> bool:
    try:
        return AccessBook(stores.open(settings.store.url), settings.garden.site.name).has_passphrase()
    except StoreError as error:
        if error.reason not in ("missing", "old"):
            raise
        return False


def _must_be_safe(settings: Settings) -> None:
    """Only this machine may look without a pass phrase."""
    listen = settings.api.listen
    if not is_loopback(listen) and _without_phrase([settings]):
        raise ConfigError(
            f"[api] listen: got {listen!r} and no pass phrase, expected one before others can look in",
            hint='propstick passphrase sets it; listen = "127.0.0.1" needs none',
        )


def _socket(api: ApiSettings, *, or_any_port: bool = False) -> socket.socket:
    host = api.listen.strip("[]")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    for port in (api.port, 0) if or_any_port else (api.port,):
        # The protocol by name: asyncio sends small packets at once only on what says that it is TCP.
        listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((host, port))
            return listening
        except OSError as error:
            listening.close()
            if error.errno != errno.EADDRINUSE or (port == 0 or not or_any_port):
                raise PropstickError(
                    f"[api] listen {api.listen}, port {api.port}: {error.strerror or error}",
                    hint="another program may have the port; set another one under [api]",
                ) from None
    raise PropstickError(f"[api] listen {api.listen}: got no free port, expected one")


def _address(api: ApiSettings, listening: socket.socket) -> str:
    """How this machine's own browser reaches it."""
    host = "127.0.0.1" if api.listen == "0.0.0.0" else api.listen.strip("[]")
    host = "::1" if host == "::" else host
    port = listening.getsockname()[1]
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"
