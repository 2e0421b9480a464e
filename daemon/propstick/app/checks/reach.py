"""What `propstick check` has to reach for: the store, the broker, the phones."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime

from propstick.app.checks.finding import Finding, age
from propstick.app.garden_file.settings import MqttSettings, PushTarget, Settings
from propstick.errors import PropstickError, StoreError
from propstick.records import Notice

BROKER_WAIT_S = 3.0
SEARCHED_MIB = 32


def store(settings: Settings, *, now_s: int, is_thorough: bool = False) -> tuple[list[Finding], int | None]:
    """Whether the store can be used and the watch uses it; and the last row it holds.

    Looking through a large file takes longer than a person waits: only `is_thorough` does.
    """
    from propstick.edges.database import open_store
    from propstick.edges.journal import Journal
    from propstick.edges.maintenance import quick_check

    try:
        opened = open_store(settings.store.url, create=False)
    except StoreError as error:
        mark = "look" if error.reason == "missing" else "bad"
        hint = "propstick watch makes it" if error.reason == "missing" else error.hint
        return [Finding(thing="store", mark=mark, found=error.message.removeprefix("store "), do=hint)], None
    try:
        name = str(opened)
        size_mib = opened.path.stat().st_size / 2**20 if opened.path else 0.0
        is_searched = is_thorough or size_mib <= SEARCHED_MIB
        faults = quick_check(opened) if is_searched else ""
        journal = Journal(opened, settings.garden.site.name)
        last_row_s, status = journal.last_row(), journal.status()
    except StoreError as error:
        return [Finding(thing="store", mark="bad", found=error.message, do=error.hint)], None
    finally:
        opened.close()
    if faults:
        return [
            Finding(
                thing="store",
                mark="bad",
                found=f"{name}: {faults}",
                do="stop the watch, then propstick restore BACKUP",
            )
        ], last_row_s
    size = f", {size_mib:.1f} MiB" if opened.path else ""
    searched = "" if is_searched else ", not searched for damage (--thorough does)"
    findings = [Finding(thing="store", mark="ok", found=f"{name}{size}{searched}")]
    if last_row_s is None:
        findings.append(
            Finding(thing="watch", mark="look", found="has written no row yet", do="propstick watch")
        )
    else:
        watch = _watch(now_s - last_row_s, settings.garden.step_s)
        findings.append(watch)
        if watch.mark == "ok":
            findings.extend(_parts((status or {}).get("troubles", ()), now_s))
    return findings, last_row_s


def _watch(age_s: int, step_s: int) -> Finding:
    if age_s > 3 * step_s + 5:
        return Finding(
            thing="watch",
            mark="look",
            found=f"last row {age(age_s)} ago: not running?",
            do="systemctl status propstick-watch, or propstick watch",
        )
    return Finding(thing="watch", mark="ok", found=f"last row {age(age_s)} ago")


def _parts(troubles: Iterable[Mapping[str, str]], now_s: int) -> Iterator[Finding]:
    """What the running watch last said of its wires and its broker."""
    for one in troubles:
        stood = age(now_s - datetime.fromisoformat(one["since"]).timestamp())
        yield Finding(
            thing="watch",
            mark="look",
            found=f"{one['part']}: {one['found']}, for {stood}",
            do="see [mqtt] and the broker; the watch goes on trying by itself"
            if one["part"] == "broker"
            else "look at plug and cable, and whether the service's user may write therm_bulk_read",
        )


def broker(settings: MqttSettings) -> Iterator[Finding]:
    """Whether the broker lets us in, and who else could speak or listen without anybody noticing."""
    yield _reached(settings)
    if settings.username is None or settings.password is None:
        lacks = "username" if settings.username is None else "password_file"
        yield Finding(
            thing="broker",
            mark="look",
            found=f"no {lacks}: whoever reaches it could pass for a probe, or send requests",
            do="deploy/broker.py gives names and passwords; then [mqtt] username, password_file",
        )
    if not settings.tls and not is_this_machine(settings.host):
        yield Finding(
            thing="broker",
            mark="look",
            found=f"no TLS to {settings.host}: passwords and readings cross the network in clear",
            do="set [mqtt] tls = true, and ca_file if the authority is your own",
        )


def is_this_machine(host: str) -> bool:
    """Whether a host's name or address stays on this machine. Asks no name server: that could hang."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        name = host.lower().rstrip(".").removesuffix(".local")
        return name in ("localhost", socket.gethostname().lower().partition(".")[0])


def _reached(settings: MqttSettings) -> Finding:
    from propstick.edges.mqtt_client import try_broker

    at = f"{settings.host}:{settings.port}"
    try:
        refusal = try_broker(settings, timeout_s=BROKER_WAIT_S)
    except PropstickError as error:
        return Finding(thing="broker", mark="bad", found=f"{at}: {error.message}", do=error.hint)
    if refusal:
        return Finding(
            thing="broker",
            mark="bad",
            found=f"{at}: {refusal}",
            do="is the broker running, and [mqtt] host, port, tls, username, password_file right?",
        )
    return Finding(thing="broker", mark="ok", found=f"{at} lets us in")


def push(settings: Settings, *, send: bool, now_s: int) -> Iterator[Finding]:
    """One line an address; with `send` a notice really goes out."""
    for target in settings.push.targets:
        yield (
            _sent(target, settings, now_s)
            if send
            else Finding(
                thing="push",
                mark="ok",
                found=f"{target.name}: set, not tried",
                do="propstick check --send tries it",
            )
        )


def _sent(target: PushTarget, settings: Settings, now_s: int) -> Finding:
    from propstick.edges.push import AppriseChannel

    notice = trial_notice(settings.garden.site.name, to=target.to, now_s=now_s)
    try:
        delivery = AppriseChannel(target.url.reveal(), target.name).send(notice)
    except PropstickError as error:
        return Finding(thing="push", mark="bad", found=f"{target.name}: {error.message}", do=error.hint)
    if delivery.ok:
        return Finding(thing="push", mark="ok", found=f"{target.name}: sent; did it arrive?")
    return Finding(
        thing="push",
        mark="bad",
        found=f"{target.name}: {delivery.detail or 'not delivered'}",
        do="look at the address in [push] urls, and at the network",
    )


def trial_notice(site: str, *, to: str, now_s: int) -> Notice:
    """A notice that only shows that notices arrive."""
    return Notice(
        id=f"check.{now_s}",
        issued_s=now_s,
        boxes=(),
        kinds=("check",),
        text=f"{site}: this is a try of Propstick's notices. Nothing to do.",
        to=to,
        urgency="Unknown",
        severity="Unknown",
        certainty="Unknown",
    )
