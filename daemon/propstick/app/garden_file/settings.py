"""What a garden file sets beyond the garden itself: push, broker, store, page. Secrets print as `***`."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Literal

from propstick.garden import Garden

DEFAULT_FILES = (FilePath("garden.toml"), FilePath("/etc/propstick/garden.toml"))


@dataclass(frozen=True)
class Secret:
    """A text that prints as `***`."""

    _text: str = field(repr=False)

    def reveal(self) -> str:
        """The text itself, for the one call that needs it."""
        return self._text

    def __str__(self) -> str:
        return "***"

    def __repr__(self) -> str:
        return "Secret(***)"


@dataclass(frozen=True, kw_only=True)
class PushTarget:
    """One way to reach somebody: a name, and an address apprise understands."""

    name: str
    url: Secret
    to: str = "person"
    """`person`, or `helper`: told instead while the person is away."""


@dataclass(frozen=True, kw_only=True)
class PushSettings:
    """Whom to tell. When, and how often, is `Garden.notices`: the engine decides it."""

    targets: tuple[PushTarget, ...] = ()


@dataclass(frozen=True, kw_only=True)
class MqttSettings:
    """The broker wireless probes and remote requests come through."""

    host: str = "localhost"
    port: int = 1883
    username: str | None = None
    password: Secret | None = None
    tls: bool = False
    ca_file: FilePath | None = None
    version: Literal["5", "3.1.1"] = "5"
    client_id: str | None = None
    keepalive_s: int = 60


@dataclass(frozen=True, kw_only=True)
class StoreSettings:
    """Where readings are kept. `backup_folder` None: no daily backup; `keep_days` 0: for ever."""

    url: str = "sqlite:///propstick.db"
    backup_folder: FilePath | None = None
    backup_keep: int = 7
    keep_days: int = 0

    @property
    def sqlite_file(self) -> FilePath | None:
        """The database file, or None for a server."""
        return FilePath(self.url.removeprefix("sqlite:///")) if self.url.startswith("sqlite:///") else None


@dataclass(frozen=True, kw_only=True)
class ApiSettings:
    """Where the page listens; `address` is how a phone reaches it, for links in notices."""

    listen: str = "127.0.0.1"
    port: int = 8460
    address: str | None = None


@dataclass(frozen=True, kw_only=True)
class OneWireSettings:
    """The kernel's 1-wire tree."""

    tree: FilePath = FilePath("/sys/bus/w1/devices")


@dataclass(frozen=True, kw_only=True)
class WatchSettings:
    """The daemon's own: `heartbeat_url` is called while all is well, for an outside watcher."""

    heartbeat_url: Secret | None = None


@dataclass(frozen=True, kw_only=True)
class Settings:
    """One garden file, read and found good."""

    garden: Garden
    push: PushSettings = PushSettings()
    mqtt: MqttSettings | None = None
    store: StoreSettings = StoreSettings()
    api: ApiSettings = ApiSettings()
    onewire: OneWireSettings = OneWireSettings()
    watch: WatchSettings = WatchSettings()
    path: FilePath = DEFAULT_FILES[0]
