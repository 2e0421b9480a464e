"""The crops a garden knows: those that ship with the program, and the person's own beside the garden file."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from propstick.errors import ConfigError, InputError
from propstick.growing.crops import Crop, crop_table

OWN_FILE = "crops.toml"
"""Beside the garden file, in the same form as the one that ships; it corrects crops and adds new ones."""


def crops_beside(garden_file: Path | None) -> dict[str, Crop]:
    """Every crop by name.

    Raises:
        ConfigError: the person's own file is there and cannot be used as written.
    """
    text = resources.files("propstick.growing").joinpath("crops.toml").read_text("utf-8")
    own = garden_file.with_name(OWN_FILE) if garden_file is not None else None
    if own is None or not own.is_file():
        return crop_table(text)
    try:
        return crop_table(text, own=own.read_text("utf-8"))
    except (InputError, UnicodeDecodeError, OSError) as error:
        message = error.message if isinstance(error, InputError) else f"cannot be read: {error}"
        raise ConfigError(f"{own}: {message}", hint="correct it, or move it away") from None
