"""The texts a mosquitto broker is set up with: who may say what, and how it listens."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath

from propstick.edges.mqtt_payloads import node_name


def mqtt_acl(site: str, nodes: Sequence[str], *, watch: str = "propstick", people: Sequence[str] = ()) -> str:
    """The access file: a node may write its own readings and nothing else.

    Args:
        site: As in the garden file.
        nodes: Names of the nodes, which are also their user names.
        watch: User name of the watch itself.
        people: Users who may read everything of the site, and answer from afar.

    Raises:
        InputError: a name that could not stand in a topic.
    """
    top = f"propstick/{node_name(site)}"
    parts = [f"user {node_name(watch)}\ntopic readwrite {top}/#\n"]
    parts += [f"user {node_name(node)}\ntopic write {top}/readings/{node}\n" for node in nodes]
    parts += [
        f"user {node_name(person)}\ntopic read {top}/#\ntopic write {top}/requests\n" for person in people
    ]
    return "\n".join(parts)


def mosquitto_config(
    *,
    password_file: PurePath,
    acl_file: PurePath,
    data_folder: PurePath,
    port: int = 1883,
    listen: str = "127.0.0.1",
    tls_port: int | None = None,
    certificate: PurePath | None = None,
    key: PurePath | None = None,
) -> str:
    """The broker's own file. Plain on `listen`; with TLS, if a certificate is given, everywhere.

    Sessions are saved every minute: a power cut otherwise loses messages already acknowledged.
    """
    lines = [
        "per_listener_settings false",
        "allow_anonymous false",
        f"password_file {password_file}",
        f"acl_file {acl_file}",
        "persistence true",
        f"persistence_location {data_folder}/",
        "autosave_interval 60",
        "max_queued_messages 1000",
        # A 3.1.1 watch acknowledges once a row; twenty, the default, would be all it gets in one.
        "max_inflight_messages 200",
        "persistent_client_expiration 14d",
        f"listener {port} {listen}",
    ]
    if tls_port is not None:
        assert certificate is not None
        assert key is not None
        lines += [f"listener {tls_port}", f"certfile {certificate}", f"keyfile {key}"]
    return "\n".join(lines) + "\n"
