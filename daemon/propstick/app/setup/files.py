"""What a first evening leaves behind: garden file, secret, sowings, pass phrase, and where it stopped."""

from __future__ import annotations

import getpass
import json
import os
import time
from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import Any

from propstick.app.garden_file.load import load, parse
from propstick.app.garden_file.settings import ApiSettings, Settings
from propstick.app.setup.sheet import garden_text
from propstick.app.setup.talk import answers_ended
from propstick.app.setup.understood import Answers
from propstick.edges.disk import replace_whole
from propstick.errors import ConfigError, InputError

INSTALLED = Path("/etc/propstick")
"""Where deploy/install puts garden files; the service may write its state folder only."""
INSTALLED_STORE = "sqlite:////var/lib/propstick/propstick.db"
PUSH_FILE = "phone.url"


def garden_file(given: str | None) -> Path:
    """The one given, else the installed service's, else one here."""
    if given:
        return Path(given)
    return (INSTALLED if INSTALLED.is_dir() else Path()) / "garden.toml"


def kept_name(file: Path) -> Path:
    """A name beside the file that is still free, to keep it under."""
    names = [
        file.with_name(f"{file.name}.before{suffix}") for suffix in ("", *(f"-{k}" for k in range(2, 99)))
    ]
    return next((name for name in names if not name.exists()), names[-1])


def write_garden(file: Path, answers: Answers, *, host: str) -> Settings:
    """Writes the garden file, and the address into a file of its own; gives it as the watch reads it.

    Raises:
        ConfigError: it cannot be written.
    """
    address = f"http://{host.removesuffix('.local')}.local:{ApiSettings.port}"
    text = garden_text(
        answers,
        push_file=PUSH_FILE,
        store_url=INSTALLED_STORE if file.resolve().parent == INSTALLED else None,
        address=address if answers.page_for_phones else None,
    )
    if answers.push:
        secret = file.with_name(PUSH_FILE)
        if secret.exists() and secret.read_text().strip() != answers.push:
            _keep(secret)
        _write(secret, answers.push + "\n", mode=0o600)
    parse(text, file, probes_required=False)  # what we write ourselves must never be refused
    if file.exists():
        _keep(file)
    _write(file, text, mode=0o640)
    return load(file, probes_required=False)


def store_sowings(settings: Settings, sown: Sequence[tuple[str, str, str]]) -> int:
    """Puts the batches into the store; said twice, a batch is there once. Returns how many were told."""
    if not sown:
        return 0
    from propstick.app.store import store_of

    with store_of(settings, create=True) as store:
        from propstick.edges.sowings import Sowings

        book = Sowings(store, settings.garden.site.name)
        for crop, box, day in sown:
            book.add({"crop": crop, "box": box, "sown": day}, by="setup", key=f"setup.{box}.{crop}.{day}")
    return len(sown)


def store_phrase(settings: Settings, phrase: str, *, now_s: int) -> None:
    """Sets what one must know to see the page."""
    from propstick.app.store import store_of

    with store_of(settings, create=True) as store:
        from propstick.edges.access import AccessBook

        AccessBook(store, settings.garden.site.name).set_passphrase(phrase, now_s=now_s)


def good_phrase(phrase: str) -> str:
    """The phrase, if the page would take it.

    Raises:
        InputError: too short or too long.
    """
    from propstick.edges.access import LONGEST, SHORTEST

    if not SHORTEST <= len(phrase) <= LONGEST:
        raise InputError(f"pass phrase: got {len(phrase)} signs, expected {SHORTEST} to {LONGEST}")
    return phrase


def crop_note(crop: str) -> str:
    """What we know of a crop, in a few words."""
    from propstick.growing.crops import crop_table, find

    text = resources.files("propstick.growing").joinpath("crops.toml").read_text("utf-8")
    try:
        found = find(crop_table(text), crop)
    except InputError as error:
        return f"No figures for {crop}, so the usual limits count ({error.message})."
    return "" if found.name == crop else f"Taken as {found.name}."


def ask_secret(prompt: str) -> str:
    """What is typed, not shown.

    Raises:
        InputError: Ctrl-D.
    """
    try:
        return getpass.getpass(prompt)
    except EOFError:
        raise answers_ended(prompt) from None


def system_zone() -> str | None:
    """The zone of this machine's clock, if it says so."""
    for link in (Path("/etc/localtime"),):
        name = os.path.realpath(link).rpartition("/zoneinfo/")[2]
        if "/" in name and not name.startswith("/"):
            return name
    return time.tzname[0] if time.tzname[0] == "UTC" else None


def qr(address: str) -> str:
    """The address as a picture of block letters, for a terminal."""
    import io

    import segno

    out = io.StringIO()
    segno.make(address, error="m").terminal(out, compact=True)
    return out.getvalue().rstrip("\n")


def command_line(file: Path) -> str:
    """How a command is typed for this garden file; `{}` where its words go."""
    return "sudo propstick {}" if file.resolve().parent == INSTALLED else f"propstick {{}} --garden {file}"


def next_step(file: Path) -> str:
    """What to type after the evening."""
    if file.resolve().parent == INSTALLED:
        return "sudo systemctl restart propstick-watch propstick-serve, then sudo propstick check"
    return f"propstick check --garden {file}, then propstick watch --garden {file}"


# Where an evening stopped


def _progress_file(file: Path) -> Path:
    return file.with_name(f".{file.name}.setup")


def read_progress(file: Path) -> Answers | None:
    """What was answered before; None if nothing was, or it cannot be read any more."""
    try:
        data: Any = json.loads(_progress_file(file).read_text("utf-8"))
        return Answers.of_json(data)
    except (OSError, ValueError, AttributeError, TypeError):
        return None


def write_progress(file: Path, answers: Answers) -> None:
    """Keeps the answers; they may hold a password, so for their owner only.

    Raises:
        ConfigError: it cannot be written.
    """
    _write(_progress_file(file), json.dumps(answers.to_json(), ensure_ascii=False), mode=0o600)


def forget_progress(file: Path) -> None:
    """The evening is over."""
    _progress_file(file).unlink(missing_ok=True)


def _keep(file: Path) -> None:
    os.replace(file, kept_name(file))


def _write(file: Path, text: str, *, mode: int) -> None:
    """Whole or not at all, and never readable by others for a moment."""
    try:
        replace_whole(file, text.encode("utf-8"), prepare=lambda part: part.chmod(mode))
    except OSError as error:
        raise ConfigError(
            f"{file}: cannot be written ({error.strerror or error}), expected a folder of yours",
            hint="sudo propstick setup, or name another file with --garden FILE",
        ) from None
