"""A connection to an MQTT broker, as the garden file's `[mqtt]` sets it."""

from __future__ import annotations

import ssl
import threading
from pathlib import Path
from typing import Any, Protocol

from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from propstick.errors import ConfigError

MOST_UNACKNOWLEDGED = 200
"""The broker stops sending QoS 1 beyond this for each site (MQTT v5 Receive Maximum)."""
LARGEST_RECEIVE_MAXIMUM = 65_535
"""MQTT v5, 3.1.2.11.3: a two-byte number."""
LARGEST_PACKET_BYTES = 1024 * 1024
SESSION_S = 14 * 86_400
"""How long the broker keeps messages for a watch that is away."""


class Revealing(Protocol):
    """A secret that is printed as stars."""

    def reveal(self) -> str: ...


class BrokerSettings(Protocol):
    """What the garden file's `[mqtt]` says; `password` is already read from its file."""

    @property
    def host(self) -> str: ...
    @property
    def port(self) -> int: ...
    @property
    def username(self) -> str | None: ...
    @property
    def password(self) -> Revealing | None: ...
    @property
    def tls(self) -> bool: ...
    @property
    def ca_file(self) -> Path | None: ...
    @property
    def version(self) -> str: ...
    @property
    def client_id(self) -> str | None: ...
    @property
    def keepalive_s(self) -> int: ...


def make_client(settings: BrokerSettings, client_id: str) -> Client:
    """A client with name, password and TLS as set, not yet connected.

    Raises:
        ConfigError: the CA file cannot be used.
    """
    is_v5 = settings.version == "5"
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=client_id,
        clean_session=None if is_v5 else False,
        protocol=MQTTv5 if is_v5 else MQTTv311,
        manual_ack=True,
    )
    if settings.username is not None:
        client.username_pw_set(settings.username, settings.password.reveal() if settings.password else None)
    if settings.tls:
        try:
            client.tls_set(ca_certs=str(settings.ca_file) if settings.ca_file else None)
        except (OSError, ssl.SSLError) as error:
            raise ConfigError(
                f"[mqtt] ca_file: {settings.ca_file} cannot be used ({error}), expected a PEM certificate",
                hint="give the certificate of the authority that signed the broker's",
            ) from None
    return client


def connect(client: Client, settings: BrokerSettings, *, keep_session: bool, sites: int = 1) -> None:
    """Points a client at the broker; its loop then connects.

    Args:
        keep_session: The broker keeps messages while we are away.
        sites: How many share the connection; each may have its part unacknowledged.
    """
    if settings.version != "5":
        client.connect_async(settings.host, settings.port, settings.keepalive_s)
        return
    wanted = Properties(PacketTypes.CONNECT)
    wanted.SessionExpiryInterval = SESSION_S if keep_session else 0
    wanted.ReceiveMaximum = min(MOST_UNACKNOWLEDGED * sites, LARGEST_RECEIVE_MAXIMUM)
    wanted.MaximumPacketSize = LARGEST_PACKET_BYTES
    client.connect_async(
        settings.host, settings.port, settings.keepalive_s, clean_start=not keep_session, properties=wanted
    )


def try_broker(settings: BrokerSettings, *, timeout_s: float = 5.0) -> str:
    """Connects once under a name of its own and leaves; returns what is wrong, empty if nothing.

    Raises:
        ConfigError: the CA file cannot be used.
    """
    client = make_client(settings, "propstick-check")
    answered = threading.Event()
    found = [f"no answer from {settings.host}:{settings.port} within {timeout_s:g} s"]

    def on_connect(_client: Client, _data: Any, _flags: Any, reason: ReasonCode, _properties: Any) -> None:
        found[0] = f"the broker refused: {reason}" if reason.is_failure else ""
        answered.set()

    def on_connect_fail(_client: Client, _data: Any) -> None:
        answered.set()

    client.on_connect, client.on_connect_fail = on_connect, on_connect_fail
    connect(client, settings, keep_session=False)
    client.loop_start()
    answered.wait(timeout_s)
    client.disconnect()
    client.loop_stop()
    return found[0]
