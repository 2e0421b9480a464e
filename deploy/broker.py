#!/usr/bin/env python3
"""Sets Debian's mosquitto up for Propstick: passwords, who may write what, TLS with an authority of your own.

    sudo apt-get install mosquitto openssl
    sudo /opt/propstick/current/bin/python deploy/broker.py --node shed --node lane
    sudo systemctl restart mosquitto

Each name keeps its password when this is run again; a new one is made with --renew NAME. Everything it
writes is a plain file, listed at the end, and can be written by hand just as well.
"""

from __future__ import annotations

import argparse
import os
import secrets
import shutil
import socket
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from propstick.app.garden_file.load import load
from propstick.edges.mosquitto import mosquitto_config, mqtt_acl
from propstick.errors import InputError, PropstickError

WATCH = "propstick"
DAYS = 3650
"""How long the certificates last: a garden has nobody who renews them each year."""


def main(argv: Sequence[str] | None = None) -> int:
    """Writes what is asked for; prints passwords once."""
    args = _parser().parse_args(argv)
    try:
        return _run(args)
    except PropstickError as error:
        print(f"broker.py: {error}", file=sys.stderr)
        return 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--node", action="append", default=[], metavar="NAME", help="a wireless node; repeat")
    parser.add_argument(
        "--person", action="append", default=[], metavar="NAME",
        help="somebody who may read everything of the site, and answer from afar; repeat",
    )  # fmt: skip
    parser.add_argument(
        "--renew", action="append", default=[], metavar="NAME", help="make a new password for NAME"
    )
    parser.add_argument(
        "--host", default=f"{socket.gethostname()}.local", metavar="NAME",
        help="what nodes call this machine; it stands in the certificate (default %(default)s)",
    )  # fmt: skip
    parser.add_argument("--port", type=int, default=1883, help="plain, this machine only (default 1883)")
    parser.add_argument("--tls-port", type=int, default=8883, help="encrypted, for nodes (default 8883)")
    parser.add_argument(
        "--root", type=Path, default=Path("/"), metavar="FOLDER", help="write below this folder (default /)"
    )
    return parser


def _run(args: argparse.Namespace) -> int:
    for tool in ("mosquitto_passwd", "openssl"):
        if shutil.which(tool) is None:
            raise InputError(f"{tool}: not installed", hint="sudo apt-get install mosquitto openssl")
    ours, etc = args.root / "etc/mosquitto/propstick", args.root / "etc/propstick"
    site = load(etc / "garden.toml", probes_required=False).garden.site.name
    acl = mqtt_acl(site, args.node, watch=WATCH, people=args.person)  # refuses bad names before anything else
    ours.mkdir(parents=True, exist_ok=True)
    _write(ours / "acl", acl, mode=0o640, group="mosquitto")
    made = _passwords(ours / "passwords", [WATCH, *args.node, *args.person], renew=args.renew)
    _certificates(ours, args.host)
    _write(args.root / "etc/mosquitto/conf.d/propstick.conf", _config(args, ours))
    _hand_to_watch(etc, ours, made.pop(WATCH, None))
    _tell(args, made, ours, etc)
    return 0


def _passwords(file: Path, names: Sequence[str], *, renew: Sequence[str]) -> dict[str, str]:
    """Makes a password for each name without one; returns those made. The file keeps only hashes."""
    known = {line.partition(":")[0] for line in file.read_text().splitlines()} if file.exists() else set()
    file.touch(mode=0o640)
    made: dict[str, str] = {}
    for name in names:
        if name in known and name not in renew:
            continue
        made[name] = secrets.token_urlsafe(18)
        subprocess.run(["mosquitto_passwd", "-b", str(file), name, made[name]], check=True)
    _own(file, mode=0o640, group="mosquitto")
    return made


def _certificates(folder: Path, host: str) -> None:
    """An authority of one's own, and the broker's certificate signed by it; both only if not there.

    The name nodes use must stand in the certificate's subjectAltName.
    """
    if (folder / "server.crt").exists():
        return
    curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", str(DAYS)]
    authority = ["-x509", *curve, "-keyout", "ca.key", "-out", "ca.crt", "-subj", "/CN=garden authority"]
    signed = [
        "-x509", *curve, "-CA", "ca.crt", "-CAkey", "ca.key", "-keyout", "server.key", "-out", "server.crt",
        "-subj", f"/CN={host}", "-addext", f"subjectAltName=DNS:{host},DNS:localhost",
        "-addext", "basicConstraints=critical,CA:FALSE",
    ]  # fmt: skip
    for words in (authority, signed):
        subprocess.run(["openssl", "req", *words], cwd=folder, check=True, capture_output=True)
    _own(folder / "ca.key", mode=0o600)
    _own(folder / "server.key", mode=0o640, group="mosquitto")


def _config(args: argparse.Namespace, ours: Path) -> str:
    """The broker's file, less what Debian's own already says: it refuses a key that stands twice."""
    text = mosquitto_config(
        password_file=ours / "passwords",
        acl_file=ours / "acl",
        data_folder=args.root / "var/lib/mosquitto",
        port=args.port,
        tls_port=args.tls_port,
        certificate=ours / "server.crt",
        key=ours / "server.key",
    )
    main_file = args.root / "etc/mosquitto/mosquitto.conf"
    said = {line.split()[0] for line in _lines(main_file) if not line.startswith("#")}
    kept = [line for line in text.splitlines() if line.split()[0] not in said]
    return "# Written by Propstick's deploy/broker.py.\n" + "\n".join(kept) + "\n"


def _lines(file: Path) -> list[str]:
    return [line for line in file.read_text().splitlines() if line.strip()] if file.exists() else []


def _hand_to_watch(etc: Path, ours: Path, password: str | None) -> None:
    """The watch's password and the authority's certificate, beside the garden file."""
    if password is not None:
        _write(etc / "mqtt.password", password + "\n", mode=0o600, like=etc)
    _write(etc / "ca.crt", (ours / "ca.crt").read_text(), like=etc)


def _write(
    file: Path, text: str, *, mode: int = 0o644, group: str | None = None, like: Path | None = None
) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode)
    with os.fdopen(handle, "w") as stream:
        stream.write(text)
    _own(file, mode=mode, group=group, like=like)


def _own(file: Path, *, mode: int, group: str | None = None, like: Path | None = None) -> None:
    file.chmod(mode)
    if os.geteuid() != 0:
        return
    if like is not None:
        os.chown(file, like.stat().st_uid, like.stat().st_gid)
    elif group is not None:
        try:
            shutil.chown(file, "root", group)
        except LookupError:
            print(f"No group {group} here: {file} belongs to root alone", file=sys.stderr)


def _tell(args: argparse.Namespace, made: dict[str, str], ours: Path, etc: Path) -> None:
    for name, password in made.items():
        print(f"{name}: password {password}   (shown this once; into its settings)")
    print(
        f"\nWritten: {ours}/ and {args.root / 'etc/mosquitto/conf.d/propstick.conf'}, {etc}/mqtt.password\n"
        f"Nodes connect to {args.host}, port {args.tls_port}, and trust {etc}/ca.crt.\n\n"
        "In the garden file:\n\n"
        f'[mqtt]\nhost = "localhost"\nport = {args.port}\nusername = "{WATCH}"\n'
        'password_file = "mqtt.password"\n\n'
        "Then: sudo systemctl restart mosquitto propstick-watch && sudo propstick check"
    )


if __name__ == "__main__":
    sys.exit(main())
