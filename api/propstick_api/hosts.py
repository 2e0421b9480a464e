"""Which garden a request is for: by the name it asks for (Host), and nobody else's.

A service of one garden answers to every name of its machine. One of many gardens answers for each to
the name of its `[api] address` alone: what a visitor of one may see is decided before any route, by the
one garden that the name leads to.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable, Sequence
from urllib.parse import urlsplit

from propstick.app.garden_file.settings import Settings
from propstick.errors import ConfigError
from propstick_api.deps import Service

Find = Callable[[str], Service | None]
"""Given a Host, the garden it leads to; None: it is none of ours."""


def of_one(service: Service) -> Find:
    """Names of this machine and plain addresses: no stranger's name server can point those at us."""
    address = name_in(service.settings)
    names = frozenset({"localhost", socket.gethostname().lower(), *([address] if address else [])})

    def find(host: str) -> Service | None:
        name = without_port(host)
        if name in names or name.endswith(".local") or _is_address(name):
            return service
        return None

    return find


def of_many(services: Sequence[Service]) -> Find:
    """Each by its own name only.

    Raises:
        ConfigError: a garden without a name of its own.
    """
    by_name: dict[str, Service] = {}
    for service in services:
        name = name_in(service.settings)
        if not name:
            raise ConfigError(
                f"{service.settings.path}: [api], key address: got none, expected the name this garden is "
                "reached by",
                hint='address = "https://plot7.example": a name for each garden that is served with others',
            )
        other = by_name.setdefault(name, service)
        if other is not service:
            raise ConfigError(
                f"{service.settings.path}: [api], key address: got {name}, expected a name that "
                f"{other.settings.path} does not have",
                hint="gardens that are served together are told apart by their names alone",
            )
    return lambda host: by_name.get(without_port(host))


def name_in(settings: Settings) -> str | None:
    """The host name in a garden's `[api] address`; None if there is none."""
    address = settings.api.address
    return without_port(urlsplit(address).netloc.rpartition("@")[2]) if address else None


def without_port(host: str) -> str:
    """The name alone, in small letters; an IPv6 address keeps its brackets."""
    if host.startswith("["):
        return host.partition("]")[0].lower() + "]"
    return host.partition(":")[0].lower().rstrip(".")


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name.strip("[]"))
    except ValueError:
        return False
    return True
