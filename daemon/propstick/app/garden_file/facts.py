"""The garden file's checked tables as the frozen facts the program works with; secrets from their files."""

from __future__ import annotations

import stat
from collections.abc import Callable
from pathlib import Path as FilePath

from propstick.app.garden_file.checks import limits_of, push_names
from propstick.app.garden_file.errors import Problem
from propstick.app.garden_file.models import WEEKDAYS, GardenTable, MqttTable, PushTable, StoreTable
from propstick.app.garden_file.settings import (
    ApiSettings,
    MqttSettings,
    OneWireSettings,
    PushSettings,
    PushTarget,
    Secret,
    Settings,
    StoreSettings,
    WatchSettings,
)
from propstick.app.garden_file.toml_lines import Path
from propstick.garden import SITE, Box, Garden, NoticeSettings, Obstacle, Person, Probe, Site, Spot


def settings_of(tables: GardenTable, path: FilePath, problems: list[Problem]) -> Settings:
    """Settings of a file at `path`; what is wrong with a secret's file is added to `problems`."""
    folder = path.resolve().parent

    def secret(name: str, at: Path) -> Secret | None:
        return _secret(folder / name, at, problems)

    watch = tables.watch
    heartbeat = Secret(watch.heartbeat_url) if watch.heartbeat_url else None
    if watch.heartbeat_url_file:
        heartbeat = secret(watch.heartbeat_url_file, ("watch", "heartbeat_url_file"))
    store, api = tables.store, tables.api
    return Settings(
        garden=_garden(tables),
        push=_push_settings(tables, secret),
        mqtt=_mqtt(tables.mqtt, folder, secret) if tables.mqtt else None,
        store=StoreSettings(
            url=_beside(store.url, folder),
            backup_folder=_backup_folder(store, folder),
            backup_keep=store.backup_keep,
            keep_days=store.keep_days,
        ),
        api=ApiSettings(listen=api.listen, port=api.port, address=api.address),
        onewire=OneWireSettings(tree=folder / tables.onewire.tree),
        watch=WatchSettings(heartbeat_url=heartbeat),
        path=path,
    )


def _garden(tables: GardenTable) -> Garden:
    person = tables.person
    return Garden(
        site=Site(**tables.site.model_dump()),
        person=Person(
            leaves=person.leaves,
            back=person.back,
            bed=person.bed,
            rises=person.rises,
            away_days=frozenset(WEEKDAYS.index(day) for day in person.away_days),
            helper=person.helper,
        ),
        boxes=tuple(
            Box(
                **box.model_dump(exclude={"faces", "alarms"}),
                faces_deg=box.faces,
                limits=limits_of(box.alarms),
            )
            for box in tables.box
        ),
        spots=tuple(
            Spot(name=spot.name, obstacles=tuple(Obstacle(**o.model_dump()) for o in spot.obstacles))
            for spot in tables.spot
        ),
        probes=tuple(Probe(**probe.model_dump() | {"box": probe.box or SITE}) for probe in tables.probe),
        limits=limits_of(tables.alarms),
        notices=_notices(tables.push),
        step_s=tables.watch.step_s,
    )


def _push_settings(tables: GardenTable, secret: Callable[[str, Path], Secret | None]) -> PushSettings:
    person = tables.person
    targets = []
    for k, (name, entry) in enumerate(push_names(tables)):
        if entry.url_file is not None:
            url = secret(entry.url_file, ("push", "urls", k, "url_file"))
        else:
            url = Secret(entry.url or "")
        if url is not None:
            targets.append(PushTarget(name=name, url=url, to="helper" if name == person.helper else "person"))
    return PushSettings(targets=tuple(targets))


def _notices(push: PushTable) -> NoticeSettings:
    table = push.model_dump(exclude={"urls"})
    return NoticeSettings(**(table | {"escalation_minutes": tuple(push.escalation_minutes)}))


def _mqtt(table: MqttTable, folder: FilePath, secret: Callable[[str, Path], Secret | None]) -> MqttSettings:
    password = secret(table.password_file, ("mqtt", "password_file")) if table.password_file else None
    return MqttSettings(
        **table.model_dump(exclude={"password_file", "ca_file"}),
        password=password,
        ca_file=folder / table.ca_file if table.ca_file else None,
    )


def _beside(url: str, folder: FilePath) -> str:
    """A relative SQLite file lies beside the garden file, wherever the command is called from."""
    name = url.removeprefix("sqlite:///")
    return url if name == url or name.startswith("/") else f"sqlite:///{folder / name}"


def _backup_folder(store: StoreTable, folder: FilePath) -> FilePath | None:
    """Where backups go: a folder beside a SQLite file unless set; a database server has its own ways."""
    if store.backup_folder is not None:
        return folder / store.backup_folder
    file = StoreSettings(url=_beside(store.url, folder)).sqlite_file
    return file.parent / "backups" if file else None


def _secret(file: FilePath, at: Path, problems: list[Problem]) -> Secret | None:
    """The first line of a file that nobody but its owner may read."""
    try:
        mode = stat.S_IMODE(file.stat().st_mode)
        text = file.read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "not text"
        problems.append(
            Problem(path=at, found=f"{file.name}: {why}", expected="a file with the secret in it")
        )
        return None
    if mode & 0o077:
        problems.append(
            Problem(
                path=at,
                found=f"{file.name} with mode {mode:04o}",
                expected="mode 0600: others can read it",
                hint=f"chmod 600 {file}",
            )
        )
        return None
    if not text:
        problems.append(
            Problem(path=at, found=f"{file.name}, empty", expected="a file with the secret in it")
        )
        return None
    return Secret(text.splitlines()[0].strip())
